// What the picture shows that a station asks to be shown by, in words. The gateway has the names: here they are asked for.

let names = { "/": {}, "\\": {} };

export async function learn(ask) {
  names = await ask("/page/symbols.json");
}

// Of a symbol (APRS101 chapter 20): its table or overlay, and its code. Empty where nobody knows.
export function symbolName(symbol) {
  if (!symbol) return "";
  const [table, code] = symbol;
  const name = (names[table] ?? names["\\"])[code] ?? "";
  if (!name || name === "reserved") return "";
  return names[table] ? name : `${name} marked ${table}`;
}
