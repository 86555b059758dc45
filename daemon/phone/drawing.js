// Draws: the shape beside each word, and a quantity's last hour beside its limit.
const SVG = "http://www.w3.org/2000/svg";

function add(parent, name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  parent.append(node);
  return node;
}

// One shape a word, so that no colour is needed.
const SHAPES = {
  "safe": [["circle", {cx: 24, cy: 24, r: 20}], ["path", {d: "M14 25l7 7 14-15"}]],
  "look": [["rect", {x: 5, y: 5, width: 38, height: 38, rx: 3}],
    ["path", {d: "M24 13v14M24 34v1"}]],
  "wake": [["path", {d: "M24 5L45 42H3z"}], ["path", {d: "M24 18v12M24 36v1"}]],
  "out": [["path", {d: "M15 4h18l11 11v18L33 44H15L4 33V15z"}],
    ["path", {d: "M14 24h19M26 16l8 8-8 8"}]],
  "silent": [["circle", {cx: 24, cy: 24, r: 20}], ["path", {d: "M10 10l28 28"}]],
  "trial": [["circle", {cx: 24, cy: 24, r: 20, "stroke-dasharray": "7 5"}],
    ["path", {d: "M16 18h16M24 18v18"}]],
  "not known": [["path", {d: "M24 3l21 21-21 21L3 24z"}],
    ["path", {d: "M19 20a5 5 0 1 1 6 5l-1 4M24 34v1"}]],
};

export function shape(word) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 48 48");
  for (const [name, attributes] of SHAPES[word] || SHAPES["not known"]) {
    add(svg, name, {fill: "none", stroke: "currentColor", "stroke-width": 4,
      "stroke-linecap": "round", "stroke-linejoin": "round", ...attributes});
  }
  return svg;
}

export function icon(word) {
  const svg = shape(word);
  svg.setAttribute("xmlns", SVG);
  const colour = {"out": "#d03030", "silent": "#8a70e0", "wake": "#d07000"}[word] || "#808890";
  return "data:image/svg+xml," + encodeURIComponent(
    svg.outerHTML.replaceAll("currentColor", colour));
}

// What matters is never zoomed away: the least span of each quantity's axis.
const SPANS = {
  "o2_pct": [17, 21], "co2_ppm": [0, 5500], "co_ppm": [0, 40], "gas_lel_pct": [0, 15],
  "rh_pct": [0, 100], "pm2_5_ugm3": [0, 50], "voc_index": [0, 200], "supply_v": [11, 15],
  "charge_pct": [0, 100],
};
const AHEAD_MIN = 20;

function spanOf(value, past) {
  const known = past.map((one) => one[1]).concat([value.value]);
  if (value.limit !== null) known.push(value.limit);
  let [low, high] = [Math.min(...known), Math.max(...known)];
  const least = SPANS[value.series];
  if (least) return [Math.min(low, least[0]), Math.max(high, least[1])];
  const middle = (low + high) / 2;
  return [Math.min(low, middle - 5), Math.max(high, middle + 5)]; // 10 K and the like
}

function fanOf(value, estimates) {
  const rate = estimates && estimates.o2_rate_pct_per_h;
  if (value.series !== "o2_pct" || !rate || rate.some((one) => one === null)) return null;
  const settles = estimates.o2_settles_pct;
  return (minutes, at) => {
    const to = value.value + (rate[at] * minutes) / 60;
    const end = settles ? settles[at] : null;
    if (end === null || end === undefined) return to;
    return rate[at] < 0 ? Math.max(to, Math.min(end, value.value))
      : Math.min(to, Math.max(end, value.value));
  };
}

export function chart(value, past, estimates, width, title) {
  const [w, h, left, right, top, bottom] = [Math.max(260, width), 170, 44, 14, 12, 24];
  const fan = fanOf(value, estimates);
  const ahead = fan ? AHEAD_MIN : 0;
  const [low, high] = spanOf(value, past);
  const x = (minutes) => left + ((minutes + 60) / (60 + ahead)) * (w - left - right);
  const y = (number) => top + ((high - number) / (high - low)) * (h - top - bottom);
  const inside = (number) => Math.min(high, Math.max(low, number));
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", `0 0 ${w} ${h}`);
  svg.setAttribute("class", "chart");
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", title);
  add(svg, "line", {class: "axis", x1: left, x2: w - right, y1: h - bottom, y2: h - bottom});
  add(svg, "line", {class: "axis", x1: left, x2: left, y1: top, y2: h - bottom});
  for (const number of [low, high]) {
    add(svg, "text", {x: left - 5, y: y(number) + 4, "text-anchor": "end"},
      number.toFixed(Math.abs(high - low) < 6 && value.decimals ? 1 : 0));
  }
  add(svg, "text", {x: left, y: h - 6}, "1 h ago");
  add(svg, "text", {x: x(0), y: h - 6, "text-anchor": ahead ? "middle" : "end"}, "now");
  if (fan) {
    add(svg, "text", {x: w - right, y: h - 6, "text-anchor": "end"}, `+${AHEAD_MIN} min`);
    const steps = [0, 5, 10, 15, 20];
    const points = steps.map((m) => `${x(m)},${y(inside(fan(m, 0)))}`)
      .concat(steps.reverse().map((m) => `${x(m)},${y(inside(fan(m, 2)))}`));
    add(svg, "polygon", {class: "fan", points: points.join(" ")});
  }
  const course = past.concat([[0, value.value]]);
  add(svg, "polyline", {class: "course",
    points: course.map(([m, v]) => `${x(m).toFixed(1)},${y(v).toFixed(1)}`).join(" ")});
  if (value.limit !== null) {
    const at = y(value.limit);
    add(svg, "line", {class: "limit", x1: left, x2: w - right, y1: at, y2: at});
    const above = at > top + 18 ? at - 5 : at + 15;
    add(svg, "text", {class: "halo", x: left + 6, y: above},
      `usual limit ${value.limit} ${value.unit}`);
  }
  return svg;
}
