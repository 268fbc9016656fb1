// The page of one layout: its pictures, live while it is searched for, and the simulated cut.

import { Live } from "./live.js";
import { Player } from "./player.js";
import { Roll } from "./roll.js";

const rolls = new Map();
for (const picture of document.querySelectorAll(".roll-picture")) {
  rolls.set(picture, new Roll(picture));
}
const live = document.getElementById("live");
if (live !== null) {
  const picture = live.querySelector(".roll-picture");
  new Live(live, picture === null ? null : rolls.get(picture));
}
for (const place of document.querySelectorAll("[data-player]")) {
  new Player(place, rolls.get(place.querySelector(".roll-picture")));
}
