// @ts-check
// The shapes in which the server tells of a night (`src/pages/night/strip.rs`), for the type checker alone: no script
// fetches this file and no browser is served it. Times are seconds from the recording's start, of its own clock.

/**
 * `GET /nights/N/strip`: what is drawn over the lanes.
 * @typedef {object} Meta
 * @property {number} outcome The number of the result shown; of a second reading, of the act that wrote it.
 * @property {number} seen The number of the last act that changed the night.
 * @property {number} duration_s How long the recording is, s.
 * @property {Clock[]} clock From when on the clock on the wall stands how; the first from 0 on, never empty.
 * @property {Lane[]} lanes The scored ones first, then channels that are kept and not scored.
 * @property {Flag[]} flags The marks, in the order of time.
 * @property {Stretch[]} scored The time that is scored; what lies outside is not.
 * @property {Rule[]} rules The rules that were asked.
 * @property {Anchor[]} anchors Blood gases that CO2 was corrected by; none where it was not.
 */

/**
 * From one second to another, without it.
 * @typedef {[number, number]} Stretch
 */

/**
 * The clock on the wall from a second on, until the next one.
 * @typedef {object} Clock
 * @property {number} at From when on, s.
 * @property {number} wall_ms What the wall shows then, ms since 1970 as if the wall showed UTC.
 * @property {string | null} offset `+02:00`, to be written behind a time; null where clocks do not change in the
 *   night and a time of day is never in doubt, or where the recording tells no zone.
 */

/**
 * One line of the strip and its scale. A lane's quantity is `id`; its series are found by `series`.
 * @typedef {object} Lane
 * @property {string} id `spo2`, `pulse` or `tcpco2`; of a lane that is not scored its channel's id.
 * @property {string} series The id of its series; as recorded, and the edges of its band, have the same with
 *   `_recorded`, `_low` and `_high` behind.
 * @property {string} name As it is called on paper.
 * @property {string} unit `%`, `/min` or `kPa`; of a lane that is not scored what the file says.
 * @property {number} low The scale's lowest value, in `unit`.
 * @property {number} high The highest.
 * @property {number} step Between two labels of the scale.
 * @property {boolean} recorded Whether it was corrected, and is there as recorded too.
 * @property {boolean} band Whether the edges between which it may lie are there.
 * @property {boolean} scored Whether it is scored. What is not is shown only when asked for.
 * @property {Level[]} levels What the rules compare it with; of a lane that is not scored none.
 * @property {Doubt[]} doubts What is not believed of it; of a lane that is not scored none.
 */

/**
 * A level that a rule compares with.
 * @typedef {object} Level
 * @property {number} level In the lane's unit.
 * @property {string} label As it is written beside the lane.
 * @property {boolean} spoken Whether a rule that is met, or cannot be told, compares with it.
 */

/**
 * A stretch that is not believed.
 * @typedef {object} Doubt
 * @property {number} from s.
 * @property {number} to s.
 * @property {string} words Why; what a person excluded in that person's words, with the name.
 */

/**
 * A mark on the night.
 * @typedef {object} Flag
 * @property {number} at When, s.
 * @property {number | null} until Until when, s; null for a moment, or a state whose end nobody marked.
 * @property {string} label A few words.
 * @property {string} kind `lights_out`, `oxygen`, `note` and so on.
 */

/**
 * A rule and where in the night it speaks.
 * @typedef {object} Rule
 * @property {string} id Its id in the criteria.
 * @property {"met" | "not_met" | "cannot_tell"} answer What was found.
 * @property {string[]} lanes Ids of the scored lanes it asks of.
 * @property {Stretch[]} stretches Of a rule that is met, what it stands on; of one that cannot be told, the time not
 *   believed that decides.
 */

/**
 * A blood gas.
 * @typedef {object} Anchor
 * @property {number} at When it was taken, s.
 * @property {number} kpa The CO2 it showed, kPa.
 */

/**
 * `GET /nights/N/columns?from=&to=&width=`: every series in a window.
 * @typedef {object} Tile
 * @property {number} outcome As in `Meta`.
 * @property {number} from The window's left edge, s.
 * @property {number} to Its right edge, s.
 * @property {number} width How many columns it is cut into.
 * @property {Record<string, Series | undefined>} series By id; one that the night has not is not there.
 */

/**
 * Single samples where they are few, else columns.
 * @typedef {Samples | Columns} Series
 */

/**
 * Every sample of the window, with one before it and one behind.
 * @typedef {object} Samples
 * @property {number} t0 When the first one begins, s.
 * @property {number} dt How long each holds, s.
 * @property {(number | null)[]} v In the lane's unit; null where the monitor wrote no number.
 * @property {(0 | 1)[]} doubt 1 for a sample that is not believed.
 */

/**
 * The first, lowest, highest and last sample of each column, one column after the other in the lane's unit.
 * @typedef {object} Columns
 * @property {(number | null)[]} b Of the believed samples; four times null for a column without any, and empty where
 *   no column has any.
 * @property {(number | null)[]} d Of those that are not believed, in the same way.
 */

export {};
