// What the numbers at a place say, in plain words.

const NEARLY_NOTHING = 0.0005;
const INCH_MM = 25.4;

export function perCent(value) {
  return `${(100 * Math.abs(value)).toFixed(1)} %`;
}

// How film is strained in one direction: value > 0 is stretched.
export function strainWords(value) {
  if (Math.abs(value) < NEARLY_NOTHING) {
    return "as on the roll";
  }
  return `${value > 0 ? "stretched" : "compressed"} by ${perCent(value)}`;
}

// How far that is from the film's limits, and what to do.
export function limitWords(stretch, compression, limits) {
  const ratios = { stretch: stretch / limits.stretch, compression: compression / limits.compression };
  const kind = ratios.stretch >= ratios.compression ? "stretch" : "compression";
  const limit = `${kind === "stretch" ? "stretch" : "finger"} limit of ${100 * limits[kind]} %`;
  const ratio = ratios[kind];
  if (ratio <= 1) {
    const share = Math.round(100 * Math.max(ratio, 0));
    return {
      state: "within",
      words: `Within what the film takes unnoticed: ${share} % of its ${limit}.`,
    };
  }
  const advice = {
    stretch: ["Warm it and pull slowly.", "Think of a relief cut or a second piece; try it on waste film first."],
    compression: [
      "Work the film inwards or it folds.",
      "Fingers are likely: work the film inwards from the middle, or think of a relief cut.",
    ],
  }[kind];
  if (ratio <= 2) {
    return { state: "beyond", words: `Beyond its ${limit}, ${ratio.toFixed(1)} times. ${advice[0]}` };
  }
  return { state: "far", words: `${ratio.toFixed(1)} times its ${limit}. ${advice[1]}` };
}

export function lengthWords(mm, inches) {
  return inches ? `${(mm / INCH_MM).toFixed(1)} in` : `${Math.round(mm)} mm`;
}

export function edgeWords(edge) {
  const kind = `${edge.kind} edge`;
  return edge.title ? `edge “${edge.title}” (${edge.kind})` : `${kind} without a name`;
}
