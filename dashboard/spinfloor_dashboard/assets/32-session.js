/* Signing in, where the service asks for a token: the token becomes a session cookie that scripts cannot read. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const session = (spinfloor.session = { name: "", role: "", needed: false });

  /** What a change must carry besides its body. */
  session.headers = function () {
    const csrf = sessionStorage.getItem("spinfloor-csrf");
    return csrf ? { "x-csrf-token": csrf } : {};
  };

  /** Called when the service answered 401, or refused a change for want of its session header. */
  session.ask = function (why) {
    session.needed = true;
    let box = spinfloor.el("sign-in");
    if (box) return;
    box = spinfloor.make("dialog", "", "");
    box.id = "sign-in";
    box.setAttribute("aria-label", "Sign in");
    const form = spinfloor.make("form", "", "");
    const label = spinfloor.make("label", "", "Token ");
    const input = Object.assign(document.createElement("input"), { type: "password", required: true, autocomplete: "current-password", maxLength: 200 });
    const trouble = spinfloor.make("p", "trouble", why || "");
    label.append(input);
    form.append(spinfloor.make("h2", "", "Sign in"), spinfloor.make("p", "", "This service needs a token to watch or to control."), label, spinfloor.make("button", "action primary", "Sign in"), trouble);
    form.addEventListener("submit", function (event) {
      event.preventDefault();
      open(input.value).then(function () { box.close(); box.remove(); session.needed = false; }, function (error) { trouble.textContent = error.message; });
    });
    box.append(form);
    document.body.append(box);
    box.showModal();
    input.focus();
  };

  async function open(token) {
    const answer = await fetch(spinfloor.base() + "/v1/session", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ token: token.trim() }) });
    const body = await answer.json().catch(function () { return {}; });
    if (!answer.ok) throw new Error(body.detail || "the service answered " + answer.status);
    sessionStorage.setItem("spinfloor-csrf", body.csrf);
    session.name = body.name;
    session.role = body.role;
  }
})();
