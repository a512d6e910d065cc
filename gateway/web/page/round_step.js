// How far apart the marks of a scale stand.

// 1, 2 or 5 times a power of ten, not less than `wanted`.
export function roundStep(wanted) {
  const power = 10 ** Math.floor(Math.log10(wanted));
  return [1, 2, 5, 10].find((times) => times * power >= wanted * 0.999) * power;
}

// Two decimals at most.
export const rounded = (number) => Math.round(number * 100) / 100;
