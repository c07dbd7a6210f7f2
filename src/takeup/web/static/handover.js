// Shows how far the work is while it goes on: the bar from the live wire, the words from the desk; then the whole page.
const now = document.querySelector("[data-now]");
if (now && now.hasAttribute("data-busy")) {
  let asking = false, ended = false;
  const ask = async () => {
    if (asking || ended) return;
    asking = true;
    try {
      const answer = await fetch(now.dataset.now);
      if (answer.ok) {
        const html = await answer.text();
        if (!html.includes("data-job")) { ended = true; location.reload(); return; }
        now.innerHTML = html;
      }
    } catch { /* the network is away: asked again below */ } finally { asking = false; }
  };
  const wire = new EventSource("/live");
  wire.addEventListener("work", (event) => {
    const told = JSON.parse(event.data);
    if (told.ended) { ask(); return; }
    const bar = now.querySelector(`[data-job="${told.job}"]`);
    if (bar && told.total) { bar.max = told.total; bar.value = told.done; }
  });
  setInterval(ask, 3000);
}
