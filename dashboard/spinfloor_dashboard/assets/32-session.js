/* Signing in, where the service asks for a token: the token becomes a session cookie that scripts cannot read. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const session = (spinfloor.session = { name: "", role: "", required: false, needed: false, csrf: "" });
  const make = spinfloor.make;

  /** What a change must carry besides its body. */
  session.headers = function () {
    return session.csrf ? { "x-csrf-token": session.csrf } : {};
  };

  /** Someone whose token may only watch. */
  session.mayOnlyWatch = function () { return session.required && session.role !== "control"; };

  /* The pages' own callbacks are changes to the service as well: they carry the same header. */
  const plainFetch = window.fetch.bind(window);
  window.fetch = function (input, options) {
    if (typeof input !== "string" || !input.includes("/_dash-update-component")) return plainFetch(input, options);
    const asked = plainFetch(input, Object.assign({}, options, { headers: Object.assign({}, (options || {}).headers, session.headers()) }));
    spinfloor.faults.follow(asked);
    return asked;
  };

  function address() { return spinfloor.base() + "/v1/session"; }

  /** Who we are to the service; asks for a token when it wants one. */
  session.check = async function () {
    const answer = await plainFetch(address(), { signal: AbortSignal.timeout(8000) });
    if (answer.status === 401) return session.ask("");
    if (answer.ok) {
      const told = await answer.json();
      session.name = told.name;
      session.role = told.role;
      session.required = told.tokens_required;
      session.csrf = told.csrf || "";
      session.needed = false;
    }
    return show();
  };

  /** The header says who is signed in, and lets them sign out. */
  function show() {
    const box = spinfloor.el("shell-session");
    if (!box || !session.required) return;
    const out = make("button", "action", "Sign out");
    out.type = "button";
    out.id = "sign-out";
    out.addEventListener("click", signOut);
    const may = session.mayOnlyWatch() ? ", may only watch" : "";
    box.replaceChildren(make("span", "soft", session.name + may), out);
  }

  async function signOut() {
    await plainFetch(address(), { method: "DELETE", headers: session.headers() });
    window.location.reload();
  }

  function watching() {
    const page = spinfloor.el("page");
    return Boolean(spinfloor.link.open && page && page.classList.contains("watch"));
  }

  /** Called when the service answered 401. A session that is over while a sortie is watched hides nothing of it. */
  session.ask = function (why) {
    session.needed = true;
    if (spinfloor.el("sign-in")) return undefined;
    const box = make("dialog", "", "");
    box.id = "sign-in";
    box.setAttribute("aria-label", "Sign in");
    const form = make("form", "", "");
    const label = make("label", "", "Token ");
    const input = Object.assign(document.createElement("input"), { type: "password", required: true, autocomplete: "current-password", maxLength: 200 });
    const trouble = make("p", "trouble", why || "");
    trouble.setAttribute("role", "alert");
    label.append(input);
    form.append(make("h2", "", "Sign in"), make("p", "", watching() ? "The session is over. Watching goes on; marks need a new one." : "This service needs a token to watch or to control."), label, make("button", "action primary", "Sign in"), trouble);
    form.addEventListener("submit", function (event) {
      event.preventDefault();
      open(input.value).then(function () { entered(box); }, function (error) { trouble.textContent = error.message; input.select(); });
    });
    box.append(form);
    document.body.append(box);
    if (watching()) return box.setAttribute("open", ""); // show() would take the focus: a key for a call must not land in a form
    box.showModal();
    return input.focus();
  };

  /** Watch goes on by itself and keeps its sound; the other pages are asked for again. */
  function entered(box) {
    box.close();
    box.remove();
    session.needed = false;
    const page = spinfloor.el("page");
    if (page && page.classList.contains("watch")) show();
    else window.location.reload();
  }

  async function open(token) {
    const answer = await plainFetch(address(), { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ token: token.trim() }) });
    const body = await answer.json().catch(function () { return {}; });
    if (!answer.ok) throw new Error(answer.status === 401 ? "This token is unknown, expired or revoked." : body.detail || "the service answered " + answer.status);
    session.csrf = body.csrf;
    session.name = body.name;
    session.role = body.role;
    session.required = true;
  }

  const waiting = window.setInterval(function () {
    if (!spinfloor.el("shell")) return;
    window.clearInterval(waiting);
    session.check().catch(function () { /* the service does not answer: the link says so */ });
  }, 50);
})();
