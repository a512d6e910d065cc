// The views, in the order of the navigation. See the head of page.js for how one joins.
import { view as now } from "./views/now.js";
import { view as station } from "./views/station.js";
import { view as reach } from "./views/reach.js";
import { view as when } from "./views/when.js";
import { view as why } from "./views/why.js";
import { view as policy } from "./views/policy.js";
import { view as whatIf } from "./views/what_if.js";
import { view as alerts } from "./views/alerts.js";
import { view as parts } from "./views/parts.js";

export const VIEWS = [now, station, reach, when, why, policy, whatIf, alerts, parts];
