// Many at once: ranges with Shift, arrows from picture to picture; Ctrl+Enter keeps.
import { sayDates } from "/static/dates.js";

sayDates();
const many = document.querySelector("form[data-many]"), single = document.querySelector("form[data-single]");
document.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) {
    const form = single || many;
    if (form) { event.preventDefault(); form.requestSubmit(form.querySelector("aside .row button")); }
  }
});
if (single && !single.querySelector(".note, fieldset.asked")) single.elements.title.focus();
// What stands on a back, as the computer reads it: only ever put where nobody has written, and to be read over.
const said = (name) => document.querySelector(`template[data-said=${name}]`).innerHTML;
for (const back of document.querySelectorAll("[data-back]")) {
  const button = back.querySelector("[data-read]"), how = back.querySelector("[data-how]"), field = back.querySelector("textarea");
  button.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true; how.textContent = said("reads");
    const answer = await fetch(back.dataset.back, { headers: { accept: "application/json" } }).catch(() => null);
    const text = answer && answer.ok ? (await answer.json()).text : "";
    if (text) field.value = field.value.trim() ? field.value.trimEnd() + "\n" + text : text;
    how.textContent = said(text ? "proposed" : "unread"); button.disabled = false; field.focus();
  });
}
if (many) {
  const boxes = [...many.querySelectorAll("input[name=id]")], count = many.querySelector("[data-count]");
  const said = document.querySelector("template[data-said=count]").innerHTML;
  let last = null;
  const tell = () => { count.textContent = said.replace("#", boxes.filter((one) => one.checked).length); };
  many.querySelector("[data-tools]").hidden = false;
  for (const button of many.querySelectorAll("[data-choose]"))
    button.addEventListener("click", () => {
      for (const one of boxes) one.checked = button.dataset.choose === "all" || (button.dataset.choose === "left" && "left" in one.closest("li").dataset);
      tell();
    });
  boxes.forEach((one, at) => {
    one.addEventListener("click", (event) => {
      if (event.shiftKey && last !== null) for (let n = Math.min(at, last); n <= Math.max(at, last); n++) boxes[n].checked = one.checked;
      last = at; tell();
    });
    one.addEventListener("keydown", (event) => {
      const across = Math.max(1, Math.round(one.closest("ul").clientWidth / one.closest("li").offsetWidth));
      const by = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: across, ArrowUp: -across }[event.key];
      if (by && boxes[at + by]) { boxes[at + by].focus(); event.preventDefault(); }
    });
  });
  tell();
}
document.documentElement.dataset.awake = "yes"; // keys are heard from here on
