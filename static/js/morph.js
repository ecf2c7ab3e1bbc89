// Makes a part of the page the same as new HTML, and keeps each node that stays: focus, typed text, opened folds and
// scroll positions survive. Which node becomes which is an alignment of both lists of children: by id or data-key, else
// by tag, first class and the first id inside.
const morph = (() => {
  // What belongs to whoever looks at the page, or to another script: what they opened, and sizes that were fitted.
  const isTheirs = (node, name) => name === "style" || (name === "open" && node.nodeName === "DETAILS");
  const keyOf = (node) => node.id || node.dataset?.key;
  const idIn = (node) => node.querySelector?.("[id]")?.id;

  // How surely a node is the same as the fresh one: 0 not at all.
  function likeness(node, fresh) {
    if (node.nodeName !== fresh.nodeName || keyOf(node) !== keyOf(fresh)) return 0;
    if (keyOf(node)) return 4;
    if (node.classList?.[0] !== fresh.classList?.[0]) return 0;
    return idIn(node) && idIn(node) === idIn(fresh) ? 3 : 1;
  }

  // For each fresh node the old one that becomes it, or nothing; their order is kept.
  function partners(olds, freshes) {
    const width = freshes.length + 1, best = new Uint32Array((olds.length + 1) * width);
    const like = (i, j) => likeness(olds[i], freshes[j]);
    for (let i = olds.length - 1; i >= 0; i--) {
      for (let j = freshes.length - 1; j >= 0; j--) {
        const here = like(i, j);
        best[i * width + j] = Math.max(best[(i + 1) * width + j], best[i * width + j + 1], here && here + best[(i + 1) * width + j + 1]);
      }
    }
    const found = new Map();
    for (let i = 0, j = 0; i < olds.length && j < freshes.length;) {
      const here = like(i, j);
      if (here && best[i * width + j] === here + best[(i + 1) * width + j + 1]) found.set(freshes[j++], olds[i++]);
      else if (best[i * width + j] === best[(i + 1) * width + j]) i++;
      else j++;
    }
    return found;
  }

  function attributes(node, fresh) {
    for (const { name } of [...node.attributes]) {
      if (!fresh.hasAttribute(name) && !isTheirs(node, name)) node.removeAttribute(name);
    }
    for (const { name, value } of fresh.attributes) {
      if (node.getAttribute(name) !== value && !isTheirs(node, name)) node.setAttribute(name, value);
    }
  }

  function children(parent, freshParent) {
    const olds = [...parent.childNodes], freshes = [...freshParent.childNodes];
    while (olds.length && freshes.length && olds[0].isEqualNode(freshes[0])) {
      olds.shift();
      freshes.shift();
    }
    let end = null;  // the node behind those that may change
    while (olds.length && freshes.length && olds.at(-1).isEqualNode(freshes.at(-1))) {
      end = olds.pop();
      freshes.pop();
    }
    const found = partners(olds, freshes), kept = new Set(found.values());
    for (const node of olds) if (!kept.has(node)) node.remove();
    let at = olds.find((node) => kept.has(node)) ?? end;
    for (const fresh of freshes) {
      const node = found.get(fresh);
      if (!node) parent.insertBefore(fresh, at);
      else {
        at = node.nextSibling;
        become(node, fresh);
      }
    }
  }

  function become(node, fresh) {
    if (node.nodeType === Node.ELEMENT_NODE) {
      attributes(node, fresh);
      children(node, fresh);
    } else if (node.nodeValue !== fresh.nodeValue) node.nodeValue = fresh.nodeValue;
  }

  return (target, html) => {
    const held = document.activeElement?.id, fresh = document.createElement("template");
    fresh.innerHTML = html;
    children(target, fresh.content);
    if (held && document.activeElement?.id !== held) document.getElementById(held)?.focus({ preventScroll: true });
  };
})();
