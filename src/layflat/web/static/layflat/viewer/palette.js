// The viewer's colours, from the style sheet: they follow light and dark.
import { Color } from "three";

const NAMES = {
  clay: "--body-clay",
  panel: "--body-panel",
  keepOut: "--body-keep-out",
  ink: "--body-ink",
  chalk: "--chalk",
  pointed: "--body-pointed",
};

export function palette(place) {
  const style = getComputedStyle(place);
  return Object.fromEntries(
    Object.entries(NAMES).map(([name, variable]) => [
      name,
      new Color(style.getPropertyValue(variable).trim()),
    ]),
  );
}
