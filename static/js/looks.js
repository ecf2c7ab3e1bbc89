// The look at once and without leaving the page; the server keeps it for the next page. Media as in server/web/looks.py.
(() => {
  const form = document.getElementById("look");
  const BY_DEVICE = {
    dark: "screen and (prefers-color-scheme: dark)",
    outdoor: "screen and (prefers-contrast: more) and (prefers-color-scheme: light)",
  };

  form.addEventListener("submit", (event) => {
    const chosen = event.submitter.value;
    event.preventDefault();
    for (const [look, byDevice] of Object.entries(BY_DEVICE)) {
      const mine = chosen === look ? "screen" : "not all";
      document.getElementById(`look-${look}`).media = chosen === "device" ? byDevice : mine;
    }
    for (const button of form.querySelectorAll("button")) button.ariaPressed = String(button === event.submitter);
    const body = new URLSearchParams([["look", chosen]]);
    fetch(form.action, { method: "POST", body, redirect: "manual" }).catch(() => {});
  });
})();
