// The station's own screen: hears the wire, shows what is new, and is right again after sleep, a lost network, a restart.
// What is shown is always the server's own text; only meters, reels and times move between two of its answers.
const LOOK_EVERY_MS = 10000, SOON_MS = 60, MOST_HEARD = 200;
const now = () => document.getElementById("now");
const away = document.getElementById("away"), told = document.getElementById("told");
const heard = new Set();
let wire = null, asking = false, again = false, soon = 0, shown = plain(now().outerHTML), sound = null, lastSeq = Number(now().dataset.seq) || 0;

function plain(html) { return html.replace(/name="once" value="[^"]*"/g, "").replace(/\s+/g, " "); }

function connect() {
  if (wire) wire.close();
  wire = new EventSource(`/station/live?after=${lastSeq}`);
  wire.onopen = () => { away.hidden = true; refresh(); };
  wire.onerror = () => { if (wire.readyState === EventSource.CLOSED) setTimeout(connect, 2000); refresh(); };
  for (const kind of ["begin", "finding", "end", "whole", "for-whom", "taken", "refused", "lost", "said", "answer", "bell", "sitting", "look", "decided"]) {
    wire.addEventListener(kind, (event) => { if (event.lastEventId) lastSeq = Math.max(lastSeq, Number(event.lastEventId) || 0); arrived(kind, JSON.parse(event.data)); });
  }
  wire.addEventListener("progress", (event) => moved(JSON.parse(event.data)));
  wire.addEventListener("moving", later);
}

function arrived(kind, facts) {
  if (kind === "finding" && facts.finding) cue(facts.key, facts.finding.verdict);
  later();
}

function later() { clearTimeout(soon); soon = setTimeout(refresh, SOON_MS); }

async function refresh() {
  if (asking) { again = true; return; }
  asking = true;
  try {
    const answer = await fetch(`/station/now${location.search}`, { cache: "no-store", headers: { accept: "text/html" } });
    if (answer.redirected || answer.status === 403 || answer.status === 404) { location.replace("/station"); return; }
    if (!answer.ok) throw new Error(String(answer.status));
    away.hidden = true;
    put(await answer.text());
  } catch { away.hidden = false; } finally {
    asking = false;
    if (again) { again = false; later(); }
  }
}

function put(html) {
  const fresh = new DOMParser().parseFromString(html, "text/html").getElementById("now");
  if (!fresh) return;
  const old = now(), text = plain(fresh.outerHTML), active = document.activeElement;
  if (text === shown) return;
  if (active && old.contains(active) && active.matches("input:not([type=hidden])") && active.value && fresh.dataset.view === old.dataset.view) return;
  const focus = active && old.contains(active) ? placeOf(active) : "", open = [...old.querySelectorAll("details[open]")].map((one) => one.id);
  const before = old.dataset;
  shown = text;
  old.replaceWith(fresh);
  for (const id of open) { const one = id && document.getElementById(id); if (one) one.open = true; }
  if (focus) document.querySelector(focus)?.focus({ preventScroll: true });
  if (before.view !== fresh.dataset.view && focus && document.activeElement === document.body) document.getElementById("main").focus({ preventScroll: true });
  if (before.verdict !== fresh.dataset.verdict || before.growing !== fresh.dataset.growing) say(fresh);
  else if (before.ending !== fresh.dataset.ending && fresh.dataset.ending === "1") told.textContent = fresh.querySelector(".ending .own")?.textContent ?? "";
  header(fresh);
}

function placeOf(element) {
  if (element.id) return `#${CSS.escape(element.id)}`;
  const form = element.closest("form");
  if (!form) return element.getAttribute("href") ? `#now a[href="${CSS.escape(element.getAttribute("href"))}"]` : "";
  const value = element.getAttribute("value");
  return `#now form[action="${form.getAttribute("action")}"] ${element.localName}${value ? `[value="${CSS.escape(value)}"]` : ""}`;
}

// Only a change of verdict and the end are told to screen readers; meters never.
function say(fresh) { told.textContent = fresh.querySelector(".say")?.querySelector(".own")?.textContent ?? ""; }

function header(fresh) { if (fresh.dataset.view === "begin" && document.querySelector("form.leave")) location.replace("/station"); }

function moved(facts) {
  const root = now();
  if (root.dataset.growing === "1" && facts.capture && facts.capture !== root.dataset.capture) { later(); return; }
  if (root.dataset.growing !== "1") { if (root.dataset.view !== "begin" && facts.capture && facts.capture !== root.dataset.capture) later(); return; }
  for (const side of ["left", "right"]) meter(side, facts.levels ?? {});
  if (typeof facts.seconds === "number") run(facts.seconds);
  notice(facts.notice);
  const why = document.getElementById("only-size"), lang = document.documentElement.lang;
  if (why) { const text = facts.why?.[lang] ?? ""; why.hidden = !text; if (why.textContent !== text) why.textContent = text; }
}

const cut = (level) => (typeof level === "number" ? Math.min(300, Math.max(0, (level + 60) * 5)) : 0);

function meter(side, levels) {
  const drawn = document.getElementById(`meter-${side}`);
  if (!drawn) return;
  const peak = levels[`${side}_peak_dbfs`];
  drawn.querySelector(".now-level").setAttribute("width", cut(levels[`${side}_dbfs`]).toFixed(1));
  drawn.querySelector(".peak").setAttribute("d", `M${cut(peak).toFixed(1)} 0v24`);
  document.getElementById(`figure-${side}`).textContent = typeof peak === "number" ? `${Math.max(-99, Math.round(peak))} dB`.replace("-", "−") : "";
}

function run(seconds) {
  const whole = Math.floor(seconds), h = Math.floor(whole / 3600), m = Math.floor(whole / 60) % 60, s = String(whole % 60).padStart(2, "0");
  const clock = document.getElementById("clock"), reels = document.querySelector("svg.reels");
  if (clock) clock.textContent = h ? `${h}:${String(m).padStart(2, "0")}:${s}` : `${m}:${s}`;
  if (!reels) return;
  const hub2 = Number(reels.dataset.hub2), per = Number(reels.dataset.ofSecond), side = Number(reels.dataset.side), took = Math.min(Math.max(seconds, 0), side);
  reels.querySelector(".left").setAttribute("r", Math.sqrt(hub2 + per * (side - took)).toFixed(2));
  reels.querySelector(".right").setAttribute("r", Math.sqrt(hub2 + per * took).toFixed(2));
}

function notice(facts) {
  const box = document.getElementById("notice"), calm = document.getElementById("plain");
  if (!box || !calm) return;
  const words = facts?.words, lang = document.documentElement.lang;
  box.hidden = !words; calm.hidden = Boolean(words);
  if (!words) return;
  for (const part of ["why", "do"]) {
    const line = document.getElementById(`notice-${part}`), runs = [];
    for (const name of Object.keys(words).sort((one) => (one === lang ? -1 : 1))) {
      const span = document.createElement("span");
      span.lang = name; span.className = name === lang ? "own" : "other"; span.textContent = words[name]?.[part] ?? "";
      runs.push(span);
    }
    line.replaceChildren(...runs);
  }
}

// Two soft notes for "look", three for "redo"; the volume is the station's. A sentence on the screen always says the same.
function cue(key, verdict) {
  const notes = { look: [523, 659], redo: [659, 523, 392] }[verdict];
  const volume = Math.min(1, Math.max(0, Number(now().dataset.volume) / 100));
  if (!notes || heard.has(key) || document.visibilityState === "hidden") return;
  if (heard.size > MOST_HEARD) heard.clear();
  heard.add(key);
  if (!volume) return;
  try {
    sound ??= new AudioContext();
    sound.resume();
    notes.forEach((hertz, at) => {
      const tone = sound.createOscillator(), gain = sound.createGain(), from = sound.currentTime + at * 0.32;
      tone.type = "sine"; tone.frequency.value = hertz;
      gain.gain.setValueAtTime(0, from); gain.gain.linearRampToValueAtTime(volume * 0.3, from + 0.04); gain.gain.exponentialRampToValueAtTime(0.0001, from + 0.5);
      tone.connect(gain).connect(sound.destination); tone.start(from); tone.stop(from + 0.55);
    });
  } catch { /* a browser without sound shows the sentence */ }
}

let player = null;
document.addEventListener("click", (event) => {
  const link = event.target.closest("a.listen");
  if (!link) return;
  event.preventDefault();
  player?.pause();
  player = new Audio(link.href);
  player.play().catch(() => location.assign(link.href));
});

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || event.target.matches("input, textarea, select")) return;
  const id = { ArrowRight: "next", ArrowLeft: "back" }[event.key];
  const button = id && document.getElementById(id);
  if (button) { event.preventDefault(); button.click(); }
});

let lock = null;
async function stayAwake() {
  if (!("wakeLock" in navigator) || document.visibilityState !== "visible") return;
  try { lock = await navigator.wakeLock.request("screen"); } catch { lock = null; }
}
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") { stayAwake(); connect(); refresh(); } });
addEventListener("online", () => { connect(); refresh(); });
addEventListener("offline", () => { away.hidden = false; });
addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
setInterval(() => { if (document.visibilityState === "visible") refresh(); }, LOOK_EVERY_MS);
stayAwake();
connect();
document.documentElement.dataset.awake = "yes"; // keys and live news are heard from here on
