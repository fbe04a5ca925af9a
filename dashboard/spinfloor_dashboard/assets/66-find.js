/* Finding a sortie on Debrief by words of its line: those without all of them are hidden. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});

  document.addEventListener("input", function (event) {
    if (event.target.id !== "debrief-find") return;
    const wanted = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    const lines = document.querySelectorAll("#debrief-choices .choice");
    for (const line of lines) {
      const words = line.textContent.toLowerCase();
      line.hidden = !wanted.every(function (word) { return words.includes(word); });
      if (!line.hidden) shown += 1;
    }
    spinfloor.text("debrief-found-count", shown === lines.length ? lines.length + " sorties" : shown + " of " + lines.length + " sorties");
  });
})();
