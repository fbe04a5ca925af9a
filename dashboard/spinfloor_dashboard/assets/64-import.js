/* Bringing in a sortie's archive on Debrief: sent by the browser itself, with its progress in percent. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const make = spinfloor.make;

  function fill(box) {
    const label = make("label", "", "Bring in a sortie's archive (.zip) ");
    const input = Object.assign(document.createElement("input"), { type: "file", accept: ".zip" });
    const bar = Object.assign(document.createElement("progress"), { max: 100, value: 0, hidden: true });
    bar.setAttribute("aria-label", "Sent");
    const said = make("span", "", "");
    said.setAttribute("role", "status");
    label.append(input);
    box.append(label, bar, said);
    input.addEventListener("change", function () { if (input.files.length) send(input.files[0], bar, said).then(function () { input.value = ""; }); });
  }

  function send(file, bar, said) {
    return new Promise(function (done) {
      const request = new XMLHttpRequest();
      request.open("POST", spinfloor.base() + "/v1/archives");
      request.setRequestHeader("content-type", "application/zip");
      const headers = spinfloor.session.headers();
      for (const name in headers) request.setRequestHeader(name, headers[name]);
      bar.hidden = false;
      request.upload.onprogress = function (event) {
        const share = event.lengthComputable ? (100 * event.loaded) / event.total : 0;
        bar.value = share;
        said.textContent = share < 100 ? "sending, " + Math.round(share) + " %" : "sent; it is checked and run through the detector again";
      };
      request.onloadend = function () {
        bar.hidden = true;
        let answer = {};
        try { answer = JSON.parse(request.responseText); } catch (error) { /* said below */ }
        said.replaceChildren.apply(said, request.status === 201 ? came(answer) : ["Not brought in: " + (answer.detail || "the service answered " + request.status) ]);
        done();
      };
      request.send(file);
    });
  }

  function came(answer) {
    const link = Object.assign(make("a", "", answer.sortie), { href: "/debrief?sortie=" + encodeURIComponent(answer.sortie) });
    return ["Brought in: ", link, answer.words ? ": " + answer.words : ""];
  }

  window.setInterval(function () {
    const box = spinfloor.el("archive-import");
    if (box && !box.firstChild) fill(box);
  }, 200);
})();
