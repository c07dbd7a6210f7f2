// One piece plays at a time, and a typed date is said back while it is typed.
import { sayDates } from "/static/dates.js";

document.addEventListener("play", (event) => {
  for (const other of document.querySelectorAll("audio, video")) if (other !== event.target) other.pause();
}, true);
sayDates();
document.documentElement.dataset.awake = "yes"; // keys are heard from here on
