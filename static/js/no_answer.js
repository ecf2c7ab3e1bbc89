// A press that the server does not answer: #no-answer says so, and the page stays with what was typed on it. A plain form
// would leave it for the browser's own error page, so the server is asked first whether it is there.
(() => {
  const PATIENCE_MS = 4000, AGAIN_MS = 2000, BACK_FOR_MS = 10_000;
  const notice = document.getElementById("no-answer");
  const asked = new WeakSet(), answered = new WeakSet();

  let watch = 0;

  function say(isSilent) {
    clearTimeout(watch);
    notice.hidden = !isSilent;
    if (isSilent) follow(false);
  }

  // Until the server answers again, then for a while that it does.
  function follow(isBack) {
    const [gone, back] = notice.querySelectorAll("p");
    gone.hidden = isBack;
    back.hidden = !isBack;
    const own = watch = setTimeout(async () => {
      if (isBack) return say(false);
      const there = await isThere();
      if (own === watch) follow(there);
    }, isBack ? BACK_FOR_MS : AGAIN_MS);
  }

  async function isThere() {
    const patience = new AbortController(), timer = setTimeout(() => patience.abort(), PATIENCE_MS);
    try {
      await fetch("/health", { cache: "no-store", signal: patience.signal });
      return true;
    } catch {
      return false;
    } finally {
      clearTimeout(timer);
    }
  }

  // Address and fields of a press; of a file its name.
  const pressOf = (form, submitter) => JSON.stringify(
    [form.getAttribute("action"), ...[...new FormData(form, submitter)].map(([name, value]) => [name, value.name ?? value])]);

  // A live page may have turned the form into that of the next step by now: what was pressed goes out, nothing else.
  function sendAsPressed(press) {
    const [action, ...fields] = JSON.parse(press), form = document.createElement("form");
    form.method = "post";
    form.action = action;
    for (const [name, value] of fields) {
      const field = document.createElement("input");
      field.type = "hidden";
      field.name = name;
      field.value = value;
      form.append(field);
    }
    document.body.append(form);
    form.submit();
  }

  // htmx has prevented the default of its own forms by now.
  document.addEventListener("submit", async (event) => {
    const form = event.target, submitter = event.submitter;
    if (event.defaultPrevented || form.method !== "post" || answered.delete(form)) return;
    event.preventDefault();
    if (asked.has(form)) return;
    asked.add(form);
    const press = pressOf(form, submitter), there = await isThere();
    asked.delete(form);
    say(!there);
    if (!there) return;
    if (!form.isConnected || pressOf(form, submitter) !== press) return sendAsPressed(press);
    answered.add(form);
    form.requestSubmit(submitter);
  });

  document.addEventListener("htmx:error", (event) => {
    if (event.detail.ctx && !event.detail.ctx.response) say(true);
  });
  document.addEventListener("htmx:after:request", () => say(false));
})();
