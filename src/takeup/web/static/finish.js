// Shows how far the work is, and the page anew when it has ended.
const place = document.querySelector("[data-work][data-busy]");
if (place) {
  const bar = place.querySelector("progress"), said = place.querySelector("[data-far]");
  const words = (name) => place.querySelector(`template[data-said=${name}]`).innerHTML;
  const look = async () => {
    const answer = await fetch(place.dataset.work, { headers: { accept: "application/json" } }).catch(() => null);
    if (answer && answer.ok) {
      const now = await answer.json();
      if (now.state !== "waiting" && now.state !== "running") { location.reload(); return; }
      bar.value = now.share;
      said.textContent = now.state === "waiting" ? words("waits") : [now.item, Math.round(100 * now.share) + " %", now.left_min ? words("left").replace("#", now.left_min) : ""].filter(Boolean).join(" · ");
    }
    setTimeout(look, 1500);
  };
  setTimeout(look, 1000);
}
