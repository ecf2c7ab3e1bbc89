// Sets a wide board as large as fits, so that nobody has to scroll a big screen: `--letter` on <main> is the largest
// size at which the flight line ends above the foot of the screen. A callsign that is still too wide for its place,
// and a long reason for EVERYBODY LAND, are made smaller by themselves.
(() => {
  const board = document.querySelector(".board"), live = document.getElementById("live");
  if (!board || !live) return;
  const wide = window.matchMedia("(min-width: 1000px)");
  const LEAST_PX = 16, LARGEST_SHARE = 0.11;  // of the height of the screen

  function fit() {
    board.style.removeProperty("--letter");
    for (const one of live.querySelectorAll(".line__callsign, .alarm")) one.style.fontSize = "";
    if (!wide.matches) return;
    const line = live.querySelector(".line"), alarm = live.querySelector(".alarm");
    if (line) fitLine(line);
    if (alarm) largest((px) => {
      alarm.style.fontSize = `${px}px`;
      return alarm.scrollHeight <= alarm.clientHeight;
    }, parseFloat(getComputedStyle(alarm).fontSize));
  }

  function fitLine(line) {
    const words = [...line.querySelectorAll(".line__pilot .channel, .plate > span")];
    largest((px) => {
      board.style.setProperty("--letter", `${px}px`);
      return endOf(line) <= window.innerHeight && words.every(isWithin);
    }, LARGEST_SHARE * window.innerHeight);
    for (const one of line.querySelectorAll(".line__callsign")) {
      if (one.scrollWidth <= one.clientWidth) continue;
      const px = parseFloat(getComputedStyle(one).fontSize) * one.clientWidth / one.scrollWidth;
      one.style.fontSize = `${Math.floor(10 * px) / 10}px`;
    }
  }

  // Where its last part ends, from the top of the page.
  const endOf = (line) => window.scrollY + Math.max(...[...line.children].map((one) => one.getBoundingClientRect().bottom));

  // Leaves the largest whole size set at which it fits.
  function largest(fitsAt, mostPx) {
    let low = LEAST_PX, high = Math.round(mostPx);
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if (fitsAt(middle)) low = middle;
      else high = middle - 1;
    }
    fitsAt(low);
  }

  function isWithin(one) {
    const place = one.closest(".line__pilot, .line__same, .line__head");
    return !one.offsetParent || one.getBoundingClientRect().right <= place.getBoundingClientRect().right;
  }

  let waiting = 0;
  function soon() {
    cancelAnimationFrame(waiting);
    waiting = requestAnimationFrame(fit);
  }

  new MutationObserver(soon).observe(live, { childList: true, subtree: true, characterData: true });
  new MutationObserver(soon).observe(document.body, { attributes: true, attributeFilter: ["data-state"] });
  window.addEventListener("resize", soon);
  document.fonts.ready.then(soon);
  fit();
})();
