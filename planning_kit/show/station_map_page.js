// What a page with a map runs: the keys come once, however many maps it shows.

import { installKeys, installOrder } from "./station_map_keys.js";

if (!window.stationMapKeys) {
  window.stationMapKeys = true;
  installKeys();
  installOrder();
}
