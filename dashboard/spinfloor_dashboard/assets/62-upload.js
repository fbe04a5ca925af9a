/* The upload component makes a hidden file input without a name; give it the words of the button around it. */
(function () {
  "use strict";
  function name() {
    document.querySelectorAll("input[type=file]:not([aria-label])").forEach(function (input) {
      const button = input.parentElement && input.parentElement.querySelector("button");
      input.setAttribute("aria-label", button ? button.textContent : "File");
    });
  }
  new MutationObserver(name).observe(document.documentElement, { childList: true, subtree: true });
})();
