// Every text of the page that does not come from the server: texts.json, for translation.

let texts = {};

export async function loadTexts() {
  texts = await (await fetch("/static/texts.json")).json();
}

// t("live.asked", {c: "90 °C"}) gives the text with {c} filled in; an unknown key shows itself.
export function t(key, values = {}) {
  const text = key.split(".").reduce((part, name) => part?.[name], texts) ?? key;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));
}

// one or many: counted("limits", 2) takes limits.one or limits.many
export function counted(key, count) {
  return t(`${key}.${count === 1 ? "one" : "many"}`, { count });
}
