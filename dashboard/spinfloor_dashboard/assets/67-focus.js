/* By keyboard one goes on where one was: a page that fills itself anew takes away what had the focus, and gives it back to the same
   link or field, or to the nearest part that is still there. Watch is left alone: its keys want no focus. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const LOOKS_EVERY_MS = 100;
  const WITHIN_MS = 8000; // a page that takes longer has been left in thought too
  let last = null; // {node, trail, lostMs}
  let byKeyboard = false;

  document.addEventListener("keydown", function (event) { if (!event.ctrlKey && !event.metaKey) byKeyboard = true; }, true);
  document.addEventListener("pointerdown", function () { byKeyboard = false; }, true);

  /** Selectors from the element outward to the page. */
  function trail(node) {
    const out = [];
    const href = node.getAttribute("href");
    if (href) out.push('#page a[href="' + CSS.escape(href) + '"]');
    for (let each = node; each && each.id !== "page"; each = each.parentElement) if (each.id) out.push("#" + CSS.escape(each.id));
    return out;
  }

  document.addEventListener("focusin", function (event) {
    const page = event.target.closest("#page");
    last = byKeyboard && page && !page.classList.contains("watch") ? { node: event.target, trail: trail(event.target), lostMs: 0 } : null;
  });

  function restore() {
    if (!last || last.node.isConnected) return;
    last.lostMs = last.lostMs || performance.now();
    if (performance.now() - last.lostMs > WITHIN_MS || !byKeyboard || document.activeElement !== document.body) last = null;
    else if (!document.querySelector("#page .busy")) focus();
  }

  function focus() {
    for (const [i, selector] of last.trail.entries()) {
      const node = document.querySelector(selector);
      if (!node || node.disabled) continue;
      if (i > 0 && !node.hasAttribute("tabindex") && !node.matches("a, button, input, select, textarea, summary")) node.tabIndex = -1;
      return node.focus({ preventScroll: i > 0 });
    }
    return undefined;
  }

  window.setInterval(restore, LOOKS_EVERY_MS);
  spinfloor.focus = { restore: restore };
})();
