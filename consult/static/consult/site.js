// What htmx leaves out: it is silent when a request is lost, and deaf until it has arrived.
(() => {
  // A part of the page could not be fetched or sent.
  const shown = (name, is) => { document.getElementById(name).hidden = !is; };
  const tell = name => { shown("lost", name === "lost"); shown("failed", name === "failed"); };
  document.addEventListener("htmx:sendError", () => tell("lost"));
  document.addEventListener("htmx:timeout", () => tell("lost"));
  document.addEventListener("htmx:responseError", () => tell("failed"));
  document.addEventListener("htmx:afterSwap", () => tell(""));

  // A search that was typed, or kept by the browser over a reload, before htmx could hear it.
  const served = select => Math.max(0, [...select.options].findIndex(it => it.defaultSelected));
  const isChanged = it => it.options ? it.selectedIndex !== served(it) : it.value !== it.defaultValue;
  document.addEventListener("htmx:load", () => {
    for (const form of document.querySelectorAll("form.search[hx-get]")) {
      const early = [...form.querySelectorAll("input, select")].find(isChanged);
      if (early) early.dispatchEvent(new Event("change", { bubbles: true }));
    }
  }, { once: true });

  // The QR code of a letter has its number and code behind the #, so that no server logs them.
  const check = document.getElementById("letter-code");
  const [, number, code] = /^#([^.]+)\.(.+)$/.exec(location.hash) || [];
  if (check && code) {
    check.elements.number.value = number;
    check.elements.code.value = code;
    history.replaceState(null, "", location.pathname);
  }

  // Forms of the field keep what is typed until the server has it: over a lost connection, a
  // closed page, an empty battery. Nothing stays once nobody is logged in.
  const KEPT = "kept:", SENT = "kept-sent";
  const place = form => KEPT + form.dataset.kept;
  const typed = form => [...new FormData(form)].filter(([name, value]) =>
    typeof value === "string" && name !== "csrfmiddlewaretoken");
  const put = (form, [name, value]) => {
    for (const field of form.elements) {
      if (field.name !== name) continue;
      if (field.type === "radio" || field.type === "checkbox") field.checked = field.value === value;
      else field.value = value;
      if (field.type !== "radio") return;
    }
  };
  const restore = () => {
    for (const form of document.querySelectorAll("form[data-kept]")) {
      const rows = localStorage.getItem(place(form));
      if (form.dataset.isBack || form.querySelector(".errorlist") || !rows) continue;
      form.dataset.isBack = "yes";
      for (const row of JSON.parse(rows)) put(form, row);
      form.querySelector(".kept").hidden = false;
    }
  };
  const form_of = event => event.target.closest?.("form[data-kept]");
  document.addEventListener("input", event => {
    const form = form_of(event);
    if (form) localStorage.setItem(place(form), JSON.stringify(typed(form)));
  });
  document.addEventListener("submit", event => {
    const form = form_of(event);
    if (form && !form.hasAttribute("hx-post")) sessionStorage.setItem(SENT, place(form));
  });
  document.addEventListener("htmx:afterRequest", event => {
    const form = form_of(event);
    const isTaken = ["HX-Redirect", "HX-Refresh"].some(it => event.detail.xhr.getResponseHeader(it));
    if (form && isTaken) localStorage.removeItem(place(form));
  });
  document.addEventListener("htmx:load", restore);

  // After a form was taken another page stands here; if it stands here itself, it was not taken.
  const sent = sessionStorage.getItem(SENT);
  sessionStorage.removeItem(SENT);
  const isHere = [...document.querySelectorAll("form[data-kept]")].some(form => place(form) === sent);
  if (sent && !isHere && document.getElementById("main")) localStorage.removeItem(sent);
  if (!document.querySelector(".top nav")) {
    for (const key of Object.keys(localStorage)) if (key.startsWith(KEPT)) localStorage.removeItem(key);
  }
  restore();
})();
