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
})();
