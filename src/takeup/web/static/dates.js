// Says a typed date back in words. What was shown goes along with the form, so that it need not be asked again.
export function sayDates() {
  for (const field of document.querySelectorAll("[data-date]")) {
    const form = field.form;
    const meant = form.querySelector("[data-meant]");
    if (!meant) continue;
    let waiting = 0, last = "";
    const show = async () => {
      const text = field.value.trim();
      if (text === last) return;
      last = text;
      form.querySelector("fieldset.asked")?.remove();
      meant.replaceChildren();
      if (!text) return;
      const answer = await fetch("/dates?text=" + encodeURIComponent(text), { headers: { accept: "application/json" } }).catch(() => null);
      if (!answer || !answer.ok || field.value.trim() !== text) return;
      const told = await answer.json();
      if (told.kind === "read") {
        const one = told.choices[0];
        meant.append(told.text, " → ", strong(one.said), ...(one.keep === told.text ? [] : [" ", quiet(one.keep)]), hidden("date_is", one.keep), hidden("date_seen", told.text));
      } else {
        const list = document.createElement("span");
        told.choices.forEach((one, at) => list.append(radio(one, told.choices.length === 1)));
        list.className = "ticks";
        meant.append(list, hidden("date_seen", told.text));
      }
    };
    field.addEventListener("input", () => { clearTimeout(waiting); waiting = setTimeout(show, 250); });
    field.addEventListener("change", show);
    if (field.value && !form.querySelector("fieldset.asked")) show();
  }
}

function strong(text) { const made = document.createElement("b"); made.textContent = text; return made; }
function quiet(text) { const made = document.createElement("span"); made.className = "quiet"; made.textContent = text; return made; }
function hidden(name, value) { const made = document.createElement("input"); made.type = "hidden"; made.name = name; made.value = value; return made; }
function radio(one, checked) {
  const label = document.createElement("label"); label.className = "tick";
  const made = document.createElement("input"); made.type = "radio"; made.name = "date_is"; made.value = one.keep; made.required = true; made.checked = checked;
  label.append(made, strong(one.said)); return label;
}
