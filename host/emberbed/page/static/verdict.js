// How a run ended, in one line: "finished" never stands alone, as it says nothing of the repair.

import { counted, t } from "./words.js";

export function headline({ state, ended_as: ended, limits_exceeded: limits, broke_off: brokeOff }) {
  if (state === "failed") return t(brokeOff ? "verdict.broke_off" : "verdict.failed");
  if (ended !== "finished") return t(`verdict.${ended}`);
  const known = limits !== null && limits !== undefined;
  return t("verdict.finished", { limits: known ? counted("verdict.limits", limits) : t("verdict.not_counted") });
}
