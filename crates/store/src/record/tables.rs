//! Every kind of row the record keeps.
//!
//! Instants are whole seconds since 1970-01-01T00:00:00Z (`…_at`), days are `2026-11-25` (`…_on`), money is
//! pence. `None` means not known or not yet. No row is deleted: it is voided or replaced, with a reason.

use crate::record::row::Kept;
use crate::words::CheckWhen;
use crate::words::Condition;
use crate::words::ConsumableKind;
use crate::words::Contact;
use crate::words::Drawn;
use crate::words::LoanStatus;
use crate::words::MonitorStatus;
use crate::words::NightStatus;
use crate::words::Representative;
use crate::words::Role;
use crate::words::Skin;
use crate::words::StudyStatus;
use crate::words::TieStatus;
use crate::words::Urgency;

record! {
    /// Somebody who may log in.
    Account in "account" {
        /// What they type to log in: lower case, no blanks.
        login: String,
        /// Their name as it stands on acts and reports.
        name: String,
        /// What they may do.
        role: Role,
        /// Argon2id in PHC text; `None` until the one-time link was used. Acts hold its fingerprint only.
        #[serde(serialize_with = "crate::record::row::fingerprint")]
        password: Option<String>,
        /// SHA-256 of the one-time token that sets a password.
        once_sha256: Option<String>,
        /// When the one-time token ends.
        once_until_at: Option<i64>,
        /// Who made it, by login.
        once_by: Option<String>,
        /// The second person who said that it is right, by login; `command` when it was made on the server itself.
        once_seconded_by: Option<String>,
        /// When the account was closed.
        closed_at: Option<i64>,
    }
}

record! {
    /// A patient.
    Person in "person" {
        /// The hospital's own number, as it writes it.
        mrn: String,
        /// Ten digits with a right check digit.
        nhs_number: Option<String>,
        /// Family name.
        family: String,
        /// Given names.
        given: String,
        /// Day of birth.
        born_on: String,
        /// Where to reach them by telephone.
        telephone: Option<String>,
        /// Postal address, one line a line.
        address: Option<String>,
        /// What the desk must know: large print, an interpreter, a carer. No findings.
        needs: Option<String>,
        /// When the row was voided.
        voided_at: Option<i64>,
        /// Why it was voided.
        voided_because: Option<String>,
        /// The person this row was a double of.
        same_as: Option<i64>,
    }
}

record! {
    /// What a clinician asked about a patient.
    Referral in "referral" {
        /// The patient.
        person: i64,
        /// Who asked.
        asked_by: String,
        /// When the letter came.
        received_on: String,
        /// The question, one of the criteria set's: its id.
        question: String,
        /// The question in the clinician's words.
        words: Option<String>,
        /// Support in use: ventilation mode and pressures, oxygen flow, or air. `None`: not told.
        support: Option<String>,
        /// How soon the answer is needed.
        urgency: Urgency,
        /// The set of criteria its nights are read by.
        criteria: String,
        /// When the row was voided.
        voided_at: Option<i64>,
        /// Why it was voided.
        voided_because: Option<String>,
    }
}

record! {
    /// The work one referral makes: nights until its question is answered.
    Study in "study" {
        /// The patient.
        person: i64,
        /// The referral it answers.
        referral: i64,
        /// Where it stands.
        status: StudyStatus,
        /// Why it was closed without a report.
        closed_because: Option<String>,
    }
}

record! {
    /// A monitor.
    Monitor in "monitor" {
        /// The mark on its label, with check character.
        mark: String,
        /// The maker's serial number, as its files carry it.
        serial: String,
        /// What it is, in the department's words.
        kind: String,
        /// What a new one costs, pence.
        value_pence: i64,
        /// Day of purchase.
        bought_on: Option<String>,
        /// Day it was put into use.
        in_use_since_on: Option<String>,
        /// Firmware as last seen.
        firmware: Option<String>,
        /// Day its service falls due.
        service_due_on: Option<String>,
        /// Day its electrical safety test falls due.
        electrical_due_on: Option<String>,
        /// Day its membrane was changed.
        membrane_on: Option<String>,
        /// Consumable row of the gas cylinder it is checked with.
        gas: Option<i64>,
        /// Where it stands.
        status: MonitorStatus,
        /// Why it is held, away, lost or retired.
        because: Option<String>,
        /// The loan it is set aside for, out on or back from.
        loan: Option<i64>,
        /// When it last came back.
        returned_at: Option<i64>,
        /// When it was last cleaned.
        cleaned_at: Option<i64>,
        /// When it last passed its check.
        checked_at: Option<i64>,
    }
}

record! {
    /// One step in a monitor's life: every change of where it stands.
    Movement in "movement" {
        /// The monitor.
        monitor: i64,
        /// When.
        at: i64,
        /// Who, by login.
        who: String,
        /// Where it stood.
        before: MonitorStatus,
        /// Where it stands now.
        after: MonitorStatus,
        /// The loan it happened in.
        loan: Option<i64>,
        /// What was done, in words.
        what: String,
    }
}

record! {
    /// A lot of something that runs out or expires.
    Consumable in "consumable" {
        /// What it is.
        kind: ConsumableKind,
        /// Lot number on the pack.
        lot: String,
        /// Last day it may be used.
        expires_on: Option<String>,
        /// How many were received.
        received: i64,
        /// CO2 content of a gas as a fraction of dry gas, %.
        co2_percent: Option<f64>,
        /// When the lot was used up or thrown away.
        closed_at: Option<i64>,
    }
}

record! {
    /// A monitor promised, lent and taken back, for one or more nights.
    Loan in "loan" {
        /// The mark on the patient's papers, with check character.
        mark: String,
        /// The study it serves.
        study: i64,
        /// The patient.
        person: i64,
        /// The monitor promised.
        monitor: i64,
        /// Evening of the first night.
        first_night_on: String,
        /// How many nights.
        nights: i64,
        /// When it must be back.
        due_at: i64,
        /// Where it stands.
        status: LoanStatus,
        /// Who booked it.
        booked_by: String,
        /// When it was booked.
        booked_at: i64,
        /// When it went out.
        out_at: Option<i64>,
        /// Who handed it out.
        out_by: Option<String>,
        /// The hand-out as it was filled in.
        out: Kept<Option<HandOut>>,
        /// When it came back.
        back_at: Option<i64>,
        /// Who took it back.
        back_by: Option<String>,
        /// The return as it was filled in.
        back: Kept<Option<TakeBack>>,
        /// Why it was cancelled or given up as lost.
        because: Option<String>,
        /// The night that made this loan necessary, when it is a repeat.
        repeats_night: Option<i64>,
        /// Why that night is repeated: of the recording, no findings.
        repeats_because: Option<String>,
    }
}

record! {
    /// One night of a loan. While it is held no other loan can have the same monitor that night.
    LoanNight in "loan_night" {
        /// The loan.
        loan: i64,
        /// The monitor.
        monitor: i64,
        /// Evening of the night.
        night_on: String,
        /// Set when the night is given back.
        freed: bool,
    }
}

record! {
    /// A check of a monitor, before or after a loan.
    Check in "monitor_check" {
        /// The monitor.
        monitor: i64,
        /// The loan it was made for or after.
        loan: Option<i64>,
        /// When.
        at: i64,
        /// Who, by login.
        who: String,
        /// Before or after.
        made: CheckWhen,
        /// Gas cylinder used.
        gas: Option<i64>,
        /// Carbon dioxide the gas should give, kPa.
        expected_kpa: Option<f64>,
        /// Carbon dioxide the monitor showed, kPa.
        observed_kpa: Option<f64>,
        /// Barometric pressure, kPa.
        pressure_kpa: Option<f64>,
        /// The monitor's clock less the wall clock, s.
        clock_ahead_s: Option<i64>,
        /// Parts counted into the bag.
        parts: Kept<Vec<String>>,
        /// Parts that should be there and are not.
        missing: Kept<Vec<String>>,
        /// Whether it may go out.
        passed: bool,
        /// Why not, or a remark.
        note: Option<String>,
        /// When it was voided: it speaks for no night any more.
        voided_at: Option<i64>,
        /// Who voided it, by login.
        voided_by: Option<String>,
        /// Why.
        voided_because: Option<String>,
    }
}

record! {
    /// A cleaning of a monitor, kept as its record of decontamination.
    Cleaning in "cleaning" {
        /// The monitor.
        monitor: i64,
        /// The loan it came back from.
        loan: Option<i64>,
        /// When.
        at: i64,
        /// Who, by login.
        who: String,
        /// How, by the department's procedure.
        method: String,
        /// Whether the patient's data were wiped off the monitor.
        wiped: bool,
    }
}

record! {
    /// A word with the borrower about a monitor that is not back.
    Chase in "chase" {
        /// The loan.
        loan: i64,
        /// When.
        at: i64,
        /// Who, by login.
        who: String,
        /// How.
        how: Contact,
        /// What was agreed. No findings.
        outcome: String,
    }
}

record! {
    /// A file as it came off a monitor. Its bytes are kept whole, by their hash.
    Original in "original" {
        /// SHA-256 of the bytes.
        sha256: String,
        /// Name of the file as it was given.
        name: String,
        /// Length, bytes.
        length: i64,
        /// Format the reader found.
        format: String,
        /// Serial number found in the file, if it carries one.
        serial: Option<String>,
        /// When it came.
        received_at: i64,
        /// Who brought it, by login.
        who: String,
        /// When the bytes were destroyed under retention.
        destroyed_at: Option<i64>,
        /// By what decision.
        destroyed_because: Option<String>,
    }
}

record! {
    /// One night of one original, to be read.
    Night in "night" {
        /// The original.
        original: i64,
        /// Where the night starts in the original, s from its first sample.
        from_s: i64,
        /// Where it ends.
        to_s: i64,
        /// When it starts, by the monitor's clock set right.
        start_at: i64,
        /// When it ends.
        end_at: i64,
        /// Where it stands.
        status: NightStatus,
        /// The loan it belongs to.
        loan: Option<i64>,
        /// The patient.
        person: Option<i64>,
        /// The study.
        study: Option<i64>,
        /// What did not agree when it came, one finding a line.
        doubts: Kept<Vec<String>>,
        /// Who settled whose it is, by login.
        settled_by: Option<String>,
        /// With what reason.
        settled_because: Option<String>,
        /// Marks, gases, diary and exclusions as notes (the text of a notes file).
        notes: String,
        /// The latest result.
        result: Option<i64>,
        /// The night that stands in its place: of a better file, or of the same one for another patient.
        replaced_by: Option<i64>,
    }
}

record! {
    /// A night tied to a loan by hand, or the proposal to.
    Tie in "night_tie" {
        /// The night.
        night: i64,
        /// The loan.
        loan: i64,
        /// Where it stands.
        status: TieStatus,
        /// The night of a worse file that it takes the place of.
        replaces: Option<i64>,
        /// Who tied or proposed it, by login.
        proposed_by: String,
        /// When.
        proposed_at: i64,
        /// How they know.
        because: String,
        /// What speaks against it, one finding a line; what was only not known stands in `open`.
        against: Kept<Vec<String>>,
        /// What the file does not tell.
        open: Kept<Vec<String>>,
        /// The second person, who agreed or declined, by login.
        second_by: Option<String>,
        /// When.
        second_at: Option<i64>,
        /// In what words.
        second_because: Option<String>,
        /// Who undid it, by login.
        ended_by: Option<String>,
        /// When.
        ended_at: Option<i64>,
        /// Why.
        ended_because: Option<String>,
    }
}

record! {
    /// What the engine made of a night: figures, rules and verdict.
    Outcome in "outcome" {
        /// The night.
        night: i64,
        /// When.
        at: i64,
        /// Name of the criteria set.
        criteria: String,
        /// Its version.
        criteria_version: String,
        /// SHA-256 of its text.
        criteria_sha256: String,
        /// The engine.
        engine: String,
        /// SHA-256 of the notes it used.
        notes_sha256: String,
        /// `sufficient`, `partial` or `repeat`.
        verdict: String,
        /// The first reason of the verdict.
        reason: Option<String>,
        /// Hours of the night in which oxygen and carbon dioxide are both believed, of those it lasts.
        believed_h: f64,
        /// The scores, as JSON of schema `matins.scores/1`.
        scores: String,
    }
}

record! {
    /// One version of what is judged of a night by hand. The first is the night as it came.
    NotesVersion in "notes_version" {
        /// The night.
        night: i64,
        /// The notes whole, as the text of a notes file.
        text: String,
        /// Name of the criteria set the night is held against.
        criteria: String,
        /// What the engine made of it.
        outcome: i64,
        /// When.
        at: i64,
        /// Who, by name.
        who: String,
        /// What was done, in words.
        what: String,
        /// The reason given for it, where one is asked for.
        because: Option<String>,
        /// The version it was made from.
        replaces: Option<i64>,
        /// Undo and redo: the version gone to.
        goes_to: Option<i64>,
    }
}

record! {
    /// A night chosen for a second, blind reading, and that reading.
    SecondReading in "second_reading" {
        /// The night.
        night: i64,
        /// How it was chosen.
        how: Drawn,
        /// Who chose it, by login.
        drawn_by: String,
        /// When.
        drawn_at: i64,
        /// The draw, so that anyone can redo it; `None` when it was picked by hand.
        draw: Kept<Option<Draw>>,
        /// The second reader, by login; `None` before the reading is begun.
        reader: Option<String>,
        /// When it was begun.
        begun_at: Option<i64>,
        /// How many times its reader had opened the night before that.
        seen_before: i64,
        /// SHA-256 of the criteria it is held against, which are the first reading's.
        criteria_sha256: Option<String>,
        /// The notes of the reading, from the night as it came to the last change.
        steps: Kept<Vec<SecondStep>>,
        /// Which of them holds.
        here: i64,
        /// `sufficient`, `partial` or `repeat`.
        verdict: Option<String>,
        /// The scores, as JSON of schema `matins.scores/1`; empty before it is begun.
        scores: String,
        /// The scores before the last step; empty when there was none.
        before: String,
        /// When it was finished; from then on it is not changed.
        finished_at: Option<i64>,
        /// Both readings beside each other, made when it was finished.
        pair: Kept<Option<Pair>>,
        /// When it was withdrawn.
        withdrawn_at: Option<i64>,
        /// Why.
        withdrawn_because: Option<String>,
    }
}

/// How a sample was drawn: the nights with the lowest SHA-256 of `SEED:NIGHT` were taken.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Draw {
    /// The seed.
    pub seed: String,
    /// First evening of the nights it was drawn from.
    pub from: String,
    /// Last evening.
    pub to: String,
    /// How many were asked for.
    pub asked: i64,
    /// The nights it was drawn from.
    pub of: Vec<i64>,
}

/// The notes of a second reading after one step.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct SecondStep {
    /// The notes whole, as the text of a notes file.
    pub text: String,
    /// What was done, in words.
    pub what: String,
}

/// Two readings of one night beside each other, both by the engine of the day the second was finished.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Pair {
    /// The engine.
    pub engine: String,
    /// The first reading's result.
    pub first: i64,
    /// Why the two cannot be compared; `None` when they can.
    pub unlike: Option<String>,
    /// Ids of the verdicts, first and second.
    pub verdict: [String; 2],
    /// What each rule asks, and the ids of its answers.
    pub rules: Vec<(String, [String; 2])>,
    /// Id of each figure and its two values; `None` where there is none.
    pub figures: Vec<(String, [Option<f64>; 2])>,
    /// Id of each channel and its seconds: believed by both, by the first alone, by the second alone, by neither.
    pub seconds: Vec<(String, [f64; 4])>,
}

record! {
    /// What the patient wrote about a night.
    DiaryEntry in "diary_entry" {
        /// The loan.
        loan: i64,
        /// Evening of the night.
        night_on: String,
        /// The lines of the diary form.
        lines: String,
        /// The patient's word on the night.
        representative: Representative,
        /// When it was entered.
        at: i64,
        /// Who entered it, by login.
        who: String,
        /// The entry this one corrects.
        replaces: Option<i64>,
    }
}

record! {
    /// One version of a report: what was signed, kept as its bytes' hash.
    Report in "report" {
        /// The night.
        night: i64,
        /// 1 for the first.
        version: i64,
        /// The result it rests on.
        outcome: i64,
        /// Everything that is printed: the heading and the words, as JSON.
        content: String,
        /// SHA-256 of the signed PDF; `None` before it is signed.
        pdf_sha256: Option<String>,
        /// Who signed it technically, by login.
        signed_by: Option<String>,
        /// When.
        signed_at: Option<i64>,
        /// The physician's interpretation.
        interpretation: Option<String>,
        /// Who interpreted it, by login.
        interpreted_by: Option<String>,
        /// When.
        interpreted_at: Option<i64>,
        /// The version it takes the place of.
        replaces: Option<i64>,
        /// What changed since that version, or why it was withdrawn.
        because: Option<String>,
        /// When it was withdrawn.
        withdrawn_at: Option<i64>,
    }
}

record! {
    /// One version of a text or setting of the department. The latest of its name holds.
    Setting in "setting" {
        /// Which: `desk`, `leaflet`, `phrases`, `criteria:NAME`.
        name: String,
        /// The value as text, usually TOML or JSON.
        value: String,
        /// When it was set.
        at: i64,
        /// Who, by login.
        who: String,
    }
}

/// The hand-out as the desk filled it in.
#[expect(clippy::struct_excessive_bools, reason = "each is a tick of the form, by its own name")]
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct HandOut {
    /// The two identifiers that were asked and agreed, for instance `name` and `born_on`.
    pub identified_by: Vec<String>,
    /// Parts counted into the bag.
    pub parts: Vec<String>,
    /// Whether fitting was shown.
    pub fitting_shown: bool,
    /// Whether the warning about heat, sore skin and when to stop was given.
    pub burn_warning_told: bool,
    /// Whether the borrower signed for the monitor.
    pub agreement_signed: bool,
    /// Sensor temperature set, °C; as text, as it is read off the monitor.
    pub sensor_temp_c: Option<String>,
    /// The monitor's clock less the wall clock, s.
    pub clock_ahead_s: Option<i64>,
    /// Version of the leaflet handed over.
    pub leaflet: Option<String>,
    /// A remark.
    pub note: Option<String>,
    /// Longest time at one place that was told, minutes; left out where the department's own was told, and in loans made
    /// before it was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub longest_min: Option<i64>,
    /// Whether the patient feels heat at that ear, can call out and can take the sensor off.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub takes_off: bool,
    /// Who stays the night and takes it off, where the patient cannot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carer: Option<String>,
}

/// The return as the desk filled it in.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct TakeBack {
    /// Where it was handed in.
    pub place: String,
    /// Its condition.
    pub condition: Condition,
    /// Parts that did not come back.
    pub missing: Vec<String>,
    /// The skin under the sensor.
    pub skin: Skin,
    /// The monitor's clock less the wall clock, s.
    pub clock_ahead_s: Option<i64>,
    /// A remark.
    pub note: Option<String>,
}
