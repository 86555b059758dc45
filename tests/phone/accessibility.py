"""An accessibility check of our own, run in the page: what can be computed is.

Success criteria of WCAG 2.2 at level AA, by number (from memory): 1.1.1 text for
pictures, 1.3.1 labels and headings, 1.4.3 contrast, 1.4.10 reflow, 2.4.2 title, 2.5.8
target size (ours is 44 px, the stricter 2.5.5), 3.1.1 language, 4.1.2 names of what can
be pressed, 4.1.3 a live region.
"""

AUDIT = r"""
(() => {
  const wrong = [];
  const shown = (node) => {
    const box = node.getBoundingClientRect();
    const style = getComputedStyle(node);
    return box.width > 0 && box.height > 0 && style.visibility !== "hidden"
      && !node.closest(".unseen");
  };
  const channel = (c) => {
    c /= 255;
    return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  };
  const luminance = ([r, g, b]) =>
    0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const numbers = (text) => (text.match(/[\d.]+/g) || []).map(Number);
  const ground = (node) => {
    for (let at = node; at; at = at.parentElement) {
      const colour = numbers(getComputedStyle(at).backgroundColor);
      if (colour.length === 3 || colour[3] === 1) return colour.slice(0, 3);
    }
    return [255, 255, 255];
  };
  const contrast = (a, b) => {
    const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };
  const name = (node) => `${node.tagName.toLowerCase()}#${node.id} `
    + `"${(node.textContent || "").trim().slice(0, 30)}"`;

  for (const node of document.querySelectorAll("body *")) {
    if (!shown(node)) continue;
    const isText = (c) => c.nodeType === 3 && c.textContent.trim();
    if (![...node.childNodes].some(isText)) continue;
    const style = getComputedStyle(node);
    const size = parseFloat(style.fontSize);
    if (size < 11) wrong.push(`text of ${size} px: ${name(node)}`);
    const isSvg = node instanceof SVGElement;
    const colour = numbers(isSvg ? style.fill : style.color).slice(0, 3);
    const behind = isSvg ? node.closest("svg").parentElement : node;
    const ratio = contrast(colour, ground(behind));
    const isBold = parseInt(style.fontWeight, 10) >= 700;
    const isLarge = size >= 24 || (size >= 18.66 && isBold);
    if (ratio < (isLarge ? 3 : 4.5)) {
      wrong.push(`contrast ${ratio.toFixed(2)} of ${name(node)}`);
    }
  }
  for (const node of document.querySelectorAll("svg.chart .course, svg.chart .limit")) {
    const colour = numbers(getComputedStyle(node).stroke).slice(0, 3);
    const ratio = contrast(colour, ground(node.closest("svg").parentElement));
    if (ratio < 3) wrong.push(`contrast ${ratio.toFixed(2)} of a drawn line`);
  }
  for (const node of document.querySelectorAll("button, input, a[href], summary")) {
    if (!shown(node)) continue;
    const box = node.getBoundingClientRect();
    if (box.height < 44 || box.width < 44) {
      wrong.push(`target of ${box.width} x ${box.height} px: ${name(node)}`);
    }
    const label = node.labels && node.labels[0] ? node.labels[0].textContent : "";
    const said = node.textContent || node.getAttribute("aria-label") || label;
    if (!said.trim()) {
      wrong.push(`nothing to read on ${name(node)}`);
    }
  }
  for (const node of document.querySelectorAll("svg")) {
    const isHidden = node.closest("[aria-hidden=true]");
    const isPicture = node.getAttribute("role") === "img";
    const isNamed = isPicture && node.getAttribute("aria-label");
    if (!isHidden && !isNamed) wrong.push("a picture without words");
  }
  const levels = [...document.querySelectorAll("h1, h2, h3")].filter(shown)
    .map((node) => Number(node.tagName[1]));
  const firsts = levels.filter((level) => level === 1).length;
  if (firsts !== 1) wrong.push(`${firsts} first headings`);
  if (levels.some((level, at) => at && level - levels[at - 1] > 1)) {
    wrong.push(`headings skip a level: ${levels}`);
  }
  const ids = [...document.querySelectorAll("[id]")].map((node) => node.id);
  if (new Set(ids).size !== ids.length) wrong.push("an id stands twice");
  for (const node of document.querySelectorAll("[aria-labelledby]")) {
    const label = document.getElementById(node.getAttribute("aria-labelledby"));
    if (!label || (shown(node) && !label.textContent.trim())) {
      wrong.push(`no label for ${name(node)}`);
    }
  }
  if (!document.documentElement.lang) wrong.push("no language");
  if (!document.title.trim()) wrong.push("no title");
  if (!document.querySelector("main")) wrong.push("no main");
  if (!document.querySelector("[aria-live]")) wrong.push("no live region");
  const root = document.documentElement;
  const wide = root.scrollWidth - root.clientWidth;
  if (wide > 0) wrong.push(`it is ${wide} px too wide`);
  return wrong;
})()
"""
