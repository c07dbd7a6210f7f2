(function () {
  "use strict";
  var d = document, root = d.documentElement;
  root.classList.add("js");

  /* The language is kept in the address, so that the page remembers it without storing anything. */
  var choices = d.querySelectorAll("input.choice");
  function choose(lang) {
    Array.prototype.forEach.call(choices, function (choice) {
      if (choice.value === lang) { choice.checked = true; root.lang = lang; }
    });
  }
  function heard() {
    var lang = location.hash.slice(1);
    if (lang === "en" || lang === "zh-Hans") { choose(lang); }
  }
  Array.prototype.forEach.call(choices, function (choice) {
    if (choice.checked) { root.lang = choice.value; }
    choice.addEventListener("change", function () {
      root.lang = choice.value;
      location.replace("#" + choice.value);
    });
  });
  window.addEventListener("hashchange", heard);
  heard();

  /* Links inside the page move without touching the language in the address. */
  d.addEventListener("click", function (event) {
    var link = event.target.closest ? event.target.closest('a[href^="#"]') : null;
    var goal = link && d.getElementById(link.getAttribute("href").slice(1));
    if (!goal) { return; }
    event.preventDefault();
    goal.scrollIntoView();
    goal.setAttribute("tabindex", "-1");
    goal.focus({ preventScroll: true });
  });

  Array.prototype.forEach.call(d.querySelectorAll(".print-it"), function (button) {
    button.addEventListener("click", function () { window.print(); });
  });
  var opened = [];
  window.addEventListener("beforeprint", function () {
    opened = Array.prototype.filter.call(d.querySelectorAll("details.why"), function (fold) { return !fold.open; });
    opened.forEach(function (fold) { fold.open = true; });
  });
  window.addEventListener("afterprint", function () {
    opened.forEach(function (fold) { fold.open = false; });
  });

  /* Players: one plays at a time; the thread shows where, and a press on it or on a time plays from there. */
  var players = Array.prototype.slice.call(d.querySelectorAll(".player"));
  players.forEach(function (player) {
    var media = player.querySelector("audio, video");
    var button = player.querySelector(".go");
    var track = player.querySelector(".track");
    var head = player.querySelector(".head");
    var wanted = null;
    if (!media) { return; }

    function playFrom(share) {
      if (isFinite(media.duration) && media.duration > 0) {
        media.currentTime = share * media.duration;
      } else {
        wanted = share;
      }
      var promise = media.play();
      if (promise && promise.catch) { promise.catch(function () { player.classList.remove("on"); }); }
    }
    media.addEventListener("loadedmetadata", function () {
      if (wanted !== null && isFinite(media.duration)) { media.currentTime = wanted * media.duration; }
      wanted = null;
    });
    media.addEventListener("play", function () {
      players.forEach(function (other) {
        var sound = other.querySelector("audio, video");
        if (sound && sound !== media) { sound.pause(); }
      });
      player.classList.add("on");
      player.classList.add("begun");
    });
    media.addEventListener("pause", function () { player.classList.remove("on"); });
    media.addEventListener("ended", function () { player.classList.remove("on"); });
    media.addEventListener("timeupdate", function () {
      if (head && media.duration > 0) { head.style.left = 100 * media.currentTime / media.duration + "%"; }
    });
    if (button) {
      button.addEventListener("click", function () {
        if (media.paused) { playFrom(media.duration > 0 ? media.currentTime / media.duration : 0); media.focus(); button.focus(); } else { media.pause(); }
      });
    }
    if (track) {
      track.addEventListener("click", function (event) {
        var box = track.getBoundingClientRect();
        playFrom(Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1));
      });
    }
    Array.prototype.forEach.call(player.querySelectorAll("button.place"), function (place) {
      place.addEventListener("click", function () { playFrom(parseFloat(place.getAttribute("data-share"))); });
    });
  });
})();
