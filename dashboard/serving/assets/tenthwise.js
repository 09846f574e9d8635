/* Puts server-made markup in place, sends forms, takes dropped files. No library, nothing from elsewhere. */
(function () {
  "use strict";

  function fill(node) {
    const markup = node.getAttribute("data-made");
    // A form somebody is writing in is left alone; the next refresh comes soon.
    if (node.madeFrom && node.contains(document.activeElement) && document.activeElement.closest("form")) return;
    if (markup !== null && node.madeFrom !== markup) {
      node.madeFrom = markup;
      node.innerHTML = markup;
      dress(node);
    }
  }

  function dress(node) {
    node.querySelectorAll("[data-keep]").forEach(function (field) {
      const kept = window.localStorage.getItem("tenthwise-" + field.dataset.keep);
      if (kept && Array.from(field.options || []).some((option) => option.value === kept)) field.value = kept;
    });
    node.querySelectorAll("[data-nav]").forEach(markNav);
  }

  function markNav(link) {
    const here = window.location.pathname;
    const on = link.dataset.nav === here || (link.dataset.nav !== "/" && here.startsWith(link.dataset.nav + "/"));
    if (on) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
    document.documentElement.classList.toggle("on-wall", here === "/wall");
  }

  function look(node) {
    if (node.nodeType !== 1) return;
    if (node.hasAttribute("data-made")) fill(node);
    node.querySelectorAll("[data-made]").forEach(fill);
    if (node.id === "page" && node.dataset.title) document.title = node.dataset.title;
  }

  new MutationObserver(function (changes) {
    changes.forEach(function (change) {
      if (change.type === "childList") change.addedNodes.forEach(look);
      else if (change.attributeName === "data-made") fill(change.target);
      else if (change.target.id === "page") document.title = change.target.dataset.title;
    });
    document.querySelectorAll("[data-nav]").forEach(markNav);
  }).observe(document.documentElement, {
    subtree: true, childList: true, attributes: true, attributeFilter: ["data-made", "data-title"],
  });

  function refresh() {
    window.dash_clientside.set_props("told", { data: Date.now() });
  }

  function say(text, wrong, undo) {
    const toast = document.getElementById("toast");
    toast.textContent = "";
    toast.className = wrong ? "wrong" : "said";
    const words = document.createElement("p");
    words.textContent = text;
    toast.append(words);
    if (undo !== undefined && undo !== null) {
      const button = document.createElement("button");
      button.textContent = "Undo";
      button.type = "button";
      button.addEventListener("click", function () { send("undo", { line: String(undo), who: speaker() }); });
      toast.append(button);
    }
    const close = document.createElement("button");
    close.textContent = "Close";
    close.type = "button";
    close.className = "quiet";
    close.addEventListener("click", function () { toast.className = ""; toast.textContent = ""; });
    toast.append(close);
  }

  function speaker() {
    return window.localStorage.getItem("tenthwise-who") || "";
  }

  async function answer(response) {
    let told = {};
    try { told = await response.json(); } catch (error) { told = { wrong: "The service did not answer as it should." }; }
    if (response.ok) { say(told.said, false, told.undo); refresh(); }
    else say(told.wrong || "That did not work.", true);
    return response.ok;
  }

  async function send(act, values) {
    say("Just a moment: noting it and looking again at what it touches…", false);
    try {
      return await answer(await fetch("/do/" + act, {
        method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(values),
      }));
    } catch (error) {
      say("The service cannot be reached: is it still running?", true);
      return false;
    }
  }

  async function upload(url, files) {
    if (!files.length) return;
    const body = new FormData();
    Array.from(files).forEach((file) => body.append("file", file, file.name));
    say("Taking in " + files.length + (files.length === 1 ? " file" : " files") + "…", false);
    try { await answer(await fetch(url, { method: "POST", body: body })); }
    catch (error) { say("The files could not be sent: is the service still running?", true); }
  }

  document.addEventListener("submit", function (event) {
    const form = event.target;
    if (form.dataset.go) {
      event.preventDefault();
      const wanted = new FormData(form).get("serial").trim();
      if (wanted) window.location.assign(form.dataset.go + encodeURIComponent(wanted));
      return;
    }
    if (!form.dataset.act) return;
    event.preventDefault();
    const values = Object.fromEntries(new FormData(form, event.submitter));
    if (form.dataset.whoever !== undefined && !values.who) values.who = speaker();
    if (values.who) window.localStorage.setItem("tenthwise-who", values.who);
    const pressed = event.submitter;
    if (pressed) pressed.disabled = true;
    send(form.dataset.act, values).finally(function () { if (pressed) pressed.disabled = false; });
  });

  document.addEventListener("change", function (event) {
    const field = event.target;
    if (field.dataset && field.dataset.keep) window.localStorage.setItem("tenthwise-" + field.dataset.keep, field.value);
    if (field.type === "file" && field.form && field.form.dataset.upload) {
      upload(field.form.dataset.upload, field.files).then(function () { field.value = ""; });
    }
  });

  ["dragover", "dragleave", "drop"].forEach(function (kind) {
    document.addEventListener(kind, function (event) {
      const zone = event.target.closest ? event.target.closest("[data-upload]") : null;
      if (!zone) return;
      event.preventDefault();
      zone.classList.toggle("over", kind === "dragover");
      if (kind === "drop") upload(zone.dataset.upload, event.dataTransfer.files);
    });
  });
})();
