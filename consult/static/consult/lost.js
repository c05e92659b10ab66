// Says so when a part of the page could not be fetched or sent; htmx itself stays silent.
(() => {
  const shown = (name, is) => { document.getElementById(name).hidden = !is; };
  const tell = name => { shown("lost", name === "lost"); shown("failed", name === "failed"); };
  document.addEventListener("htmx:sendError", () => tell("lost"));
  document.addEventListener("htmx:timeout", () => tell("lost"));
  document.addEventListener("htmx:responseError", () => tell("failed"));
  document.addEventListener("htmx:afterSwap", () => tell(""));
})();
