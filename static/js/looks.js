// The look at once and without leaving the page, kept on this device whether or not the server answers. Cookie and media
// as in server/web/looks.py.
(() => {
  const form = document.getElementById("look");
  const ONE_YEAR_S = 365 * 24 * 3600;
  const BY_DEVICE = {
    dark: "screen and (prefers-color-scheme: dark)",
    outdoor: "screen and (prefers-contrast: more) and (prefers-color-scheme: light)",
  };

  const kept = () => document.cookie.match(/(?:^|; )bandstand_look=(\w+)/)?.[1] ?? "device";

  function show(chosen) {
    for (const [look, byDevice] of Object.entries(BY_DEVICE)) {
      const mine = chosen === look ? "screen" : "not all";
      document.getElementById(`look-${look}`).media = chosen === "device" ? byDevice : mine;
    }
    for (const button of form.querySelectorAll("button")) button.ariaPressed = String(button.value === chosen);
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const chosen = event.submitter.value;
    document.cookie = `bandstand_look=${chosen}; path=/; max-age=${ONE_YEAR_S}; samesite=lax`;
    show(chosen);
  });

  // Gone back to: the page as it was left, maybe before the look was chosen.
  window.addEventListener("pageshow", (event) => event.persisted && show(kept()));
})();
