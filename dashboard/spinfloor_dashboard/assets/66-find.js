/* Finding a sortie on Debrief by words of its line: those without all of them are hidden. What is typed begins a word
   of the line: 7 finds "Sortie 7" and not every sortie created at 17:20. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});

  function begins(words, wanted) {
    for (let at = words.indexOf(wanted); at >= 0; at = words.indexOf(wanted, at + 1))
      if (at === 0 || !/[\p{L}\p{N}]/u.test(words[at - 1]) || !/[\p{L}\p{N}]/u.test(wanted[0])) return true;
    return false;
  }

  document.addEventListener("input", function (event) {
    if (event.target.id !== "debrief-find") return;
    const wanted = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    const lines = document.querySelectorAll("#debrief-choices .choice");
    for (const line of lines) {
      const parts = Array.from(line.children, function (part) { return part.textContent.toLowerCase(); });
      line.hidden = !wanted.every(function (word) { return parts.some(function (words) { return begins(words, word); }); });
      if (!line.hidden) shown += 1;
    }
    spinfloor.text("debrief-found-count", shown === lines.length ? lines.length + " sorties" : shown + " of " + lines.length + " sorties");
  });
})();
