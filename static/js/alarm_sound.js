// The sound of EVERYBODY LAND, made by the browser itself. It plays while an element with data-alarm="on" is on the page
// and not hidden, for half a minute each time. Browsers allow sound after a tap alone: #allow-sound asks for it.
(() => {
  const Context = window.AudioContext || window.webkitAudioContext;
  const ask = document.getElementById("allow-sound");
  if (!Context) return;
  const AGAIN_MS = 1500, LONGEST_MS = 30_000;
  let context = null, timer = null, sinceMs = 0;

  const isAllowed = () => context?.state === "running";
  const isOn = () => [...document.querySelectorAll('[data-alarm="on"]')].some((node) => !node.hidden);

  function burst() {
    if (!isAllowed()) return;
    for (const [at, hertz] of [[0, 880], [0.25, 660], [0.5, 880], [0.75, 660]]) {
      const tone = context.createOscillator(), loudness = context.createGain(), start = context.currentTime + at;
      tone.type = "square";
      tone.frequency.value = hertz;
      loudness.gain.setValueAtTime(0.25, start);
      loudness.gain.setValueAtTime(0, start + 0.22);
      tone.connect(loudness).connect(context.destination);
      tone.start(start);
      tone.stop(start + 0.23);
    }
  }

  function look() {
    if (!isOn()) {
      clearInterval(timer);
      timer = null;
      sinceMs = 0;
    } else if (!timer && !sinceMs) {
      sinceMs = Date.now();
      burst();
      timer = setInterval(() => (Date.now() - sinceMs > LONGEST_MS ? clearInterval(timer) : burst()), AGAIN_MS);
    }
  }

  function say() {
    if (ask) ask.hidden = isAllowed();
  }

  // Any tap or key is leave enough; nothing has to be found first.
  async function allow() {
    context ??= new Context();
    try { await context.resume(); } catch { /* asked again at the next tap */ }
    say();
  }

  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, allow, { passive: true });
  new MutationObserver(look).observe(document.body, { subtree: true, childList: true, attributes: true, attributeFilter: ["hidden", "data-alarm"] });
  say();
  look();
})();
