// Booking while somebody is on the telephone: what is free follows what is chosen, known people follow the name.
// Without this script the button "Show what is free" does both.

const form = document.querySelector("#booking");
const offers = document.querySelector("#offers");
const known = document.querySelector("#known");
const people = known?.querySelector(".people");

function fieldsOf(names) {
  const all = new FormData(form);
  const some = new URLSearchParams();
  for (const name of names ?? [...all.keys()]) if (all.has(name)) some.set(name, all.get(name));
  return some;
}

let asked = 0;
async function find() {
  const mine = ++asked;
  offers.ariaBusy = "true";
  const answer = await fetch("/visits/find", { method: "POST", body: fieldsOf() }).catch(() => null);
  if (mine !== asked) return;
  offers.ariaBusy = "false";
  if (!answer?.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("#offers");
  if (fresh) offers.replaceChildren(...fresh.childNodes);
}

function choice(person) {
  const label = document.createElement("label");
  label.className = "pick";
  const radio = Object.assign(document.createElement("input"), { type: "radio", name: "person", value: person.id });
  const name = Object.assign(document.createElement("b"), { textContent: person.name });
  label.append(radio, " ", name, ` ${person.contact}`);
  return label;
}

let typing = 0;
async function look() {
  const answer = await fetch("/visits/people", { method: "POST", body: fieldsOf(["form_token", "name"]) }).catch(() => null);
  if (!answer?.ok) return;
  const found = await answer.json();
  const chosen = form.elements.person?.value ?? "";
  people.replaceChildren(...found.map(choice));
  known.hidden = found.length === 0;
  const same = [...people.querySelectorAll("input")].find((one) => one.value === chosen);
  (same ?? known.querySelector('input[value=""]')).checked = true;
}

if (form) {
  for (const name of ["kind", "minutes", "day", "part"]) {
    for (const field of form.querySelectorAll(`[name="${name}"]`)) field.addEventListener("change", find);
  }
  known.addEventListener("change", find);
  form.elements.name.addEventListener("input", () => { clearTimeout(typing); typing = setTimeout(look, 200); });
}
document.documentElement.dataset.awake = "yes"; // keys are heard from here on
