// The day stays as it is in the lab: a bell, a finding, a visit booked elsewhere appear without a reload.
// Whatever is heard, the page is asked for anew and its parts are put in place, so nothing is ever half told.

const HEARD = ["bell", "finding", "answer", "end", "taken", "refused", "lost", "for-whom", "said", "visit", "asked", "work", "gift", "drive"];
const day = document.querySelector("#day");
const news = document.querySelector("#news");
const title = document.title;
let asking = false;
let again = false;

const plain = (root) => root.innerHTML.replace(/name="once" value="[^"]*"/g, "");
let shown = plain(day);

function told(root) {
  return new Map([...root.querySelectorAll(".eye")].map((eye) => [eye.dataset.asked, eye.textContent.replace(/\s+/g, " ").trim()]));
}

function mark() {
  const bells = day.querySelectorAll(".eye.redo, .eye.bell-rang").length;
  document.title = bells ? `(${bells}) ${title}` : title;
}

function focusKey(element) {
  if (!element || !day.contains(element)) return null;
  return element.getAttribute("aria-label") || element.getAttribute("href");
}

async function renew() {
  if (asking) { again = true; return; }
  asking = true;
  try {
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    if (!answer.ok || answer.redirected) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const part = fresh.querySelector("#day");
    if (!part || plain(part) === shown) return; // nothing is put anew under somebody's finger without need
    shown = plain(part);
    const before = told(day);
    const key = focusKey(document.activeElement);
    day.replaceChildren(...part.childNodes);
    for (const name of ["now", "first", "last"]) day.dataset[name] = part.dataset[name];
    if (key) [...day.querySelectorAll("a, button")].find((one) => focusKey(one) === key)?.focus();
    const fresher = [...told(day)].filter(([id]) => !before.has(id)).map(([, text]) => text);
    if (fresher.length) news.textContent = fresher.join(" ");
    readyToPrint();
    mark();
  } catch { /* the network is away; the wire comes back by itself and the page is asked for again */ } finally {
    asking = false;
    if (again) { again = false; renew(); }
  }
}

let soon = 0;
function heard() {
  clearTimeout(soon);
  soon = setTimeout(renew, 120);
}

function readyToPrint() {
  const button = document.querySelector("#print");
  if (!button) return;
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

const wire = new EventSource("/live");
wire.addEventListener("open", async () => {
  await renew();
  document.documentElement.dataset.awake = "yes"; // live news is heard from here on
});
for (const kind of HEARD) wire.addEventListener(kind, heard);
setInterval(renew, 60_000); // the line of now moves, and who is late becomes late
document.addEventListener("visibilitychange", () => { if (!document.hidden) renew(); });
addEventListener("pagehide", () => wire.close());
readyToPrint();
mark();
