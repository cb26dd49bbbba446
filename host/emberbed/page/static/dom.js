// Small helpers to build and change what is on the page. Text only ever goes in as text.

// el("p", {class: "big", onclick: act}, "text", node, ...) gives a node; null children are left out.
export function el(tag, about = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(about)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name in node && typeof value === "boolean") node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  fill(node, children);
  return node;
}

export function fill(node, children) {
  node.replaceChildren(...children.flat().filter((child) => child !== null && child !== undefined));
  return node;
}

// Changes a text only where it differs, so that nothing is read out or drawn anew without need.
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export function show(node, visible) {
  if (node.hidden === visible) node.hidden = !visible;
}

export function css(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

export function sentences(list, kind = "") {
  return el("ul", { class: "sentences" }, list.map((one) => el("li", { class: kind }, one)));
}

// 75 -> "1:15"; hours from an hour on.
export function clock(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  const two = (number) => String(number).padStart(2, "0");
  const [hours, minutes] = [Math.floor(whole / 3600), Math.floor((whole % 3600) / 60)];
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
}

let fahrenheit = false;

export function showFahrenheit(also) {
  fahrenheit = also;
}

// A reading in degrees F too where that is wished; all that is asked, stored and limited is in °C.
export function inFahrenheit(celsius) {
  return fahrenheit && celsius !== null && celsius !== undefined ? `${(celsius * 1.8 + 32).toFixed(0)} °F` : "";
}

export function reading(celsius) {
  const also = inFahrenheit(celsius);
  return also ? `${degrees(celsius)} (${also})` : degrees(celsius);
}

export function degrees(celsius, decimals = 1) {
  return celsius === null || celsius === undefined ? "–" : `${celsius.toFixed(decimals)} °C`;
}
