// The list of originals: says how a line would be read while it is typed; Enter in the rows begins the next row.
const quick = document.querySelector("#quick");
const line = quick.elements.line;
const reads = document.querySelector("#reads-as");
let waiting = 0, newest = 0;

async function readAs() {
  const mine = ++newest;
  const asked = new URLSearchParams({ line: line.value.slice(0, 900), as: new FormData(quick).get("carrier_as") });
  if (!line.value.trim()) { reads.textContent = ""; return; }
  try {
    const answer = await fetch(`${quick.dataset.read}?${asked}`, { headers: { accept: "application/json" } });
    const told = answer.ok ? await answer.json() : { said: "" };
    if (mine === newest) reads.textContent = told.said;
  } catch { reads.textContent = ""; }
}

line.addEventListener("input", () => { clearTimeout(waiting); waiting = setTimeout(readAs, 150); });
line.addEventListener("paste", (event) => {  // cells of a spreadsheet go to their own field
  const text = event.clipboardData?.getData("text/plain") ?? "";
  const field = document.querySelector("textarea[name=paste]");
  if (!/[\n\t]/.test(text.trim())) return;
  event.preventDefault();
  field.closest("details").open = true;
  field.value = text;
  field.focus();
});
for (const tile of quick.querySelectorAll("input[type=radio]")) {
  tile.addEventListener("click", (event) => { if (event.detail) line.focus(); readAs(); });  // arrow keys stay among the pictures
}

const body = document.querySelector("#rows tbody");
body.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.target.tagName === "SELECT" || event.isComposing) return;
  event.preventDefault();
  const row = event.target.closest("tr");
  let next = row.nextElementSibling;
  if (!next) {
    next = row.cloneNode(true);
    for (const field of next.querySelectorAll("input, select")) field.value = "";
    const number = body.rows.length + 1;
    for (const field of next.querySelectorAll("[aria-label]")) field.ariaLabel = field.ariaLabel.replace(/\d+(?!.*\d)/, number);
    body.append(next);
  }
  next.querySelector("select").focus();
});
document.documentElement.dataset.awake = "yes"; // keys are heard from here on
