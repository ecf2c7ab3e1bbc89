// What somebody opened in #live stays open when a message replaces the page under it.
(() => {
  const live = document.getElementById("live");
  const opened = new Set();

  live.addEventListener("click", (event) => {
    const folded = event.target.closest("summary")?.parentElement;
    if (!folded?.id) return;
    if (folded.open) return void opened.delete(folded.id);
    opened.add(folded.id);
    requestAnimationFrame(() => folded.scrollIntoView({ block: "nearest" }));
  });
  new MutationObserver(() => {
    for (const id of opened) {
      const folded = document.getElementById(id);
      if (folded && !folded.open) folded.open = true;
    }
  }).observe(live, { subtree: true, childList: true, attributes: true, attributeFilter: ["open"] });
})();
