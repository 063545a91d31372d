"use strict";
(function () {
  var clips = null, playing = null, sound = new Audio();
  function stop() {
    sound.pause();
    if (playing) { playing.removeAttribute("aria-pressed"); playing = null; }
  }
  sound.addEventListener("ended", stop);
  sound.addEventListener("error", stop);
  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[data-clip]");
    if (!button) { return; }
    var again = button === playing;
    stop();
    if (again) { return; }
    if (!clips) { clips = JSON.parse(document.getElementById("clips").textContent); }
    sound.src = clips[button.dataset.clip] || "";
    playing = button;
    button.setAttribute("aria-pressed", "true");
    sound.play().catch(stop);
  });
  document.documentElement.classList.add("can-play");
})();
