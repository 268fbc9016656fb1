// What is found, in words, with lengths as the shop writes them.

const INCH_MM = 25.4;
const FOOT_IN = 12;
const FEW = 4;
const LETTER_STEP = 1000;

/** A number within a layout as people read it: "3", or where jobs share the layout "B3". */
export function called(number) {
  const step = Math.floor(number / LETTER_STEP);
  const letter = step > 0 ? String.fromCharCode("A".charCodeAt(0) + step - 1) : "";
  return `${letter}${number % LETTER_STEP}`;
}

/** A short length: millimetres to a tenth, or inches to a hundredth. */
export function fineWords(mm, inches) {
  const text = inches ? (mm / INCH_MM).toFixed(2) : mm.toFixed(1).replace(/\.0$/, "");
  return `${text} ${inches ? "in" : "mm"}`;
}

/** A length along the roll, as the stock says it. */
export function filmWords(mm, inches) {
  if (!inches) {
    return `${(Math.round(mm) / 1000).toFixed(3)} m`;
  }
  const tenths = Math.round((mm * 10) / INCH_MM);
  const feet = Math.floor(tenths / (10 * FOOT_IN));
  const rest = `${((tenths % (10 * FOOT_IN)) / 10).toFixed(1).replace(/\.0$/, "")} in`;
  return feet > 0 ? (tenths % (10 * FOOT_IN) > 0 ? `${feet} ft ${rest}` : `${feet} ft`) : rest;
}

/** One finding of the judge in words; `numberOf` gives a piece's number. */
export function findingWords(finding, numberOf, film) {
  const numbers = finding.pieces.map(numberOf).sort((a, b) => a - b).map(called);
  const fine = (mm) => fineWords(mm, film.inches);
  const pair = `Pieces ${numbers[0]} and ${numbers[1]}`;
  switch (finding.fault) {
    case "overlap":
      return `${pair} overlap.`;
    case "gap":
      return `${pair} are ${fine(finding.amount)} apart, not ${fine(film.gap)}.`;
    case "edge":
      return `Piece ${numbers[0]} reaches ${fine(finding.amount)} into the roll's edge margin.`;
    case "end":
      return `Piece ${numbers[0]} reaches ${fine(finding.amount)} into the margin at the section's beginning.`;
    case "fault":
      return `Piece ${numbers[0]} lies on a fault of the roll, or too near to it: ${finding.reason}.`;
    case "section":
      return (
        `${listed(numbers)} on ${filmWords(film.longest + finding.amount, film.inches)}, ` +
        `and a section holds ${filmWords(film.longest, film.inches)}: leave a straight lane of ` +
        `${fine(Math.max(2 * film.end, film.gap))} across the roll.`
      );
    default:
      return `The pieces take ${filmWords(finding.amount, film.inches)} more film than is free of the roll.`;
  }
}

function listed(numbers) {
  if (numbers.length === 1) {
    return `Piece ${numbers[0]} lies`;
  }
  const few = `Pieces ${numbers.slice(0, -1).join(", ")} and ${numbers.at(-1)} lie together`;
  return numbers.length <= FEW ? few : `${numbers.length} pieces lie together`;
}
