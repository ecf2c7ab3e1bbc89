// Keeps what a pilot types on this phone until the desk has it, and sends it again where the network drops it.
// The id that goes along makes a second sending the same pilot; once it is confirmed only the id and the callsign stay.
(() => {
  const page = document.getElementById("join");
  if (!page) return;
  const key = `bandstand join ${page.dataset.code}`, retryMs = 5000;

  function read() {
    try { return JSON.parse(localStorage.getItem(key)); } catch { return null; }
  }
  function keep(what) {
    try { localStorage.setItem(key, JSON.stringify(what)); } catch { /* storage closed: the form works without */ }
  }

  if (page.dataset.joined) {
    keep({ id: page.dataset.joined, callsign: page.dataset.callsign, confirmed: true });
    return;
  }

  let sending = false;

  function say(place, text, address) {
    const line = document.createElement("div");
    line.className = "notice notice--caution";
    const body = document.createElement("div");
    body.className = "notice__body";
    body.textContent = text;
    if (address) {
      const link = document.createElement("a");
      link.href = address;
      link.textContent = page.dataset.show;
      body.append(" ", link);
    }
    line.append(body);
    document.getElementById(place).replaceChildren(line);
  }

  const form = () => document.getElementById("join-form");
  const fields = () => Object.fromEntries(new FormData(form()));

  function restore(kept) {
    for (const field of form().elements) {
      if (!field.name) continue;
      if (field.type === "radio" || field.type === "checkbox") field.checked = kept.fields[field.name] === field.value;
      else field.value = kept.fields[field.name] ?? "";
    }
  }

  async function send() {
    if (sending) return;
    sending = true;
    const typed = fields();
    keep({ id: typed.join_id, fields: typed });
    say("join-note", page.dataset.sending);
    try {
      const answer = await fetch(form().action, { method: "POST", body: new URLSearchParams(typed) });
      if (answer.ok && answer.redirected) return location.replace(answer.url);
      show(await answer.text());
    } catch {
      say("join-note", page.dataset.notSent);
      setTimeout(send, retryMs);
    }
    sending = false;
  }

  function show(html) {  // the same page with what is wrong, everything typed kept
    const next = new DOMParser().parseFromString(html, "text/html").getElementById("join");
    if (!next) return say("join-note", page.dataset.notTaken);
    page.replaceChildren(...next.childNodes);
    (page.querySelector("[aria-invalid] input, input[aria-invalid], .notice") || page).scrollIntoView({ block: "center" });
  }

  page.addEventListener("submit", (event) => {
    event.preventDefault();
    send();
  });
  page.addEventListener("input", () => keep({ id: fields().join_id, fields: fields() }));

  const kept = read();
  if (!form()) return;
  if (kept?.confirmed) say("join-known", page.dataset.known.replace("{callsign}", () => kept.callsign), `/join/${page.dataset.code}?me=${kept.id}`);
  else if (kept?.fields) restore(kept);
})();
