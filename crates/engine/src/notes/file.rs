//! The notes file: TOML to checked entries, not yet placed on a clock.

use serde::Deserialize;
use toml::Spanned;

use crate::notes::MonitorNotes;
use crate::notes::Told;
use crate::notes::when::When;
use crate::recording::{MarkKind, Quantity};
use crate::time::zone_named;
use crate::unit;

/// A gas above this is no gas of this trade, whatever the unit: 20 kPa is 150 mmHg. Below the other
/// no person's CO2 lies. Outside, a mix-up of units is likely (common practice, no source).
const CO2_MOST_KPA: f64 = 20.0;
const CO2_LEAST_KPA: f64 = 2.0;

/// Why a notes file was refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("notes: {what}{}", line.map(|n| format!(" (line {n})")).unwrap_or_default())]
pub struct NotesError {
    /// What is wrong, with expected and found.
    pub what: String,
    /// The line in the notes file.
    pub line: Option<usize>,
    /// What to do next.
    pub hint: Option<String>,
    /// Whether they were understood, and refused as those of another night.
    pub another_night: bool,
}

impl NotesError {
    pub(super) fn new(what: impl Into<String>, line: usize) -> Self {
        Self { what: what.into(), line: Some(line), hint: None, another_night: false }
    }

    pub(super) fn of_another_night(mut self) -> Self {
        self.another_night = true;
        self
    }

    pub(super) fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

/// A notes file that was read and checked, before it is placed on a recording's clock.
#[derive(Clone, Debug, PartialEq)]
pub struct NotesFile {
    pub(super) zone: Option<String>,
    pub(super) lights_out: Option<Moment>,
    pub(super) lights_on: Option<Moment>,
    pub(super) representative: Option<bool>,
    pub(super) question: Option<String>,
    pub(super) breathing: Option<String>,
    pub(super) told: Vec<Told>,
    pub(super) marks: Vec<MarkEntry>,
    pub(super) blood_gases: Vec<(Moment, f64)>,
    pub(super) gas_checks: Vec<(Moment, f64, f64)>,
    pub(super) monitor: MonitorNotes,
    pub(super) edits: Vec<EditEntry>,
}

/// A time and the line it stands in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moment {
    pub(super) when: When,
    pub(super) line: usize,
}

/// A `[[mark]]`.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct MarkEntry {
    pub(super) kind: MarkKind,
    pub(super) at: Moment,
    pub(super) until: Option<Moment>,
    pub(super) text: String,
}

/// An `[[exclude]]` or a `[[put_back]]`.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct EditEntry {
    pub(super) quantity: Quantity,
    pub(super) from: Moment,
    pub(super) until: Moment,
    pub(super) believe: bool,
    pub(super) author: String,
    pub(super) made_at: String,
    pub(super) reason: String,
}

type RawTime = Spanned<toml::Value>;

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct Raw {
    zone: Option<Spanned<String>>,
    lights_out: Option<RawTime>,
    lights_on: Option<RawTime>,
    representative: Option<bool>,
    question: Option<String>,
    breathing: Option<String>,
    told: Vec<RawTold>,
    mark: Vec<RawMark>,
    blood_gas: Vec<Spanned<RawBloodGas>>,
    gas_check: Vec<Spanned<RawGasCheck>>,
    monitor: Option<Spanned<RawMonitor>>,
    exclude: Vec<Spanned<RawEdit>>,
    put_back: Vec<Spanned<RawEdit>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawTold {
    about: String,
    says: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawMark {
    at: RawTime,
    until: Option<RawTime>,
    kind: Spanned<String>,
    #[serde(default)]
    text: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawBloodGas {
    at: RawTime,
    pco2_kpa: Option<f64>,
    pco2_mmhg: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawGasCheck {
    at: RawTime,
    expected_kpa: Option<f64>,
    expected_mmhg: Option<f64>,
    observed_kpa: Option<f64>,
    observed_mmhg: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawMonitor {
    corrected: Option<bool>,
    sensor_temp_c: Option<f64>,
    averaging_s: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawEdit {
    channel: Spanned<String>,
    from: RawTime,
    until: RawTime,
    author: String,
    made_at: Option<toml::Value>,
    #[serde(default)]
    reason: String,
}

impl NotesFile {
    /// Reads a notes file.
    ///
    /// # Errors
    /// [`NotesError`] when it is no TOML, has a key that is not known, a time that cannot be read, a
    /// CO2 that cannot be a person's, or a mark of an unknown kind.
    pub fn parse(text: &str) -> Result<Self, NotesError> {
        let raw: Raw = toml::from_str(text).map_err(|error| NotesError {
            what: error.message().replace('\n', " "),
            line: error.span().map(|span| line_of(text, span.start)),
            hint: None,
            another_night: false,
        })?;
        let source = Source(text);
        let blood_gases = raw.blood_gas.iter().map(|gas| source.blood_gas(gas));
        let gas_checks = raw.gas_check.iter().map(|check| source.gas_check(check));
        Ok(Self {
            blood_gases: blood_gases.collect::<Result<_, _>>()?,
            gas_checks: gas_checks.collect::<Result<_, _>>()?,
            monitor: raw.monitor.map_or(Ok(MonitorNotes::default()), |m| source.monitor(&m))?,
            edits: source.edits(raw.exclude, raw.put_back)?,
            marks: raw.mark.into_iter().map(|mark| source.mark(mark)).collect::<Result<_, _>>()?,
            zone: raw.zone.map(|zone| source.zone(&zone)).transpose()?,
            lights_out: raw.lights_out.map(|at| source.moment(&at)).transpose()?,
            lights_on: raw.lights_on.map(|at| source.moment(&at)).transpose()?,
            representative: raw.representative,
            question: raw.question,
            breathing: raw.breathing.filter(|words| says_something(words)),
            told: raw
                .told
                .into_iter()
                .filter(|raw| says_something(&raw.says))
                .map(|raw| Told { about: raw.about, says: raw.says })
                .collect(),
        })
    }

    /// The zone of the monitor's clock, an IANA name or an offset; `None` when the notes do not tell.
    pub fn zone(&self) -> Option<&str> {
        self.zone.as_deref()
    }
}

/// Blank, a dash and a question mark say nothing: what they stand for is not told.
fn says_something(words: &str) -> bool {
    words.chars().any(char::is_alphanumeric) || words.contains('+')
}

fn line_of(text: &str, byte: usize) -> usize {
    1 + text.get(..byte).map_or(0, |before| before.matches('\n').count())
}

/// The text of the file, to tell lines from places in it.
struct Source<'a>(&'a str);

impl Source<'_> {
    fn line<T>(&self, spanned: &Spanned<T>) -> usize {
        line_of(self.0, spanned.span().start)
    }

    fn moment(&self, raw: &RawTime) -> Result<Moment, NotesError> {
        let line = self.line(raw);
        let when = When::parse(raw.get_ref()).map_err(|what| {
            NotesError::new(what, line)
                .hint("write 23:10, 23:10:30, 2024-10-26T23:10 or 2024-10-26T23:10:00+01:00")
        })?;
        Ok(Moment { when, line })
    }

    fn zone(&self, raw: &Spanned<String>) -> Result<String, NotesError> {
        let name = raw.get_ref();
        zone_named(name).map(|_| name.clone()).ok_or_else(|| {
            NotesError::new(format!("zone `{name}` is not known"), self.line(raw))
                .hint("write a name as Europe/London, or an offset as +01:00")
        })
    }

    fn mark(&self, raw: RawMark) -> Result<MarkEntry, NotesError> {
        let kind = MarkKind::from_id(raw.kind.get_ref()).ok_or_else(|| {
            let known: Vec<&str> = MarkKind::ALL.iter().map(|kind| kind.id()).collect();
            let what = format!("mark kind `{}` is not known", raw.kind.get_ref());
            NotesError::new(what, self.line(&raw.kind))
                .hint(format!("known are {}", known.join(", ")))
        })?;
        let at = self.moment(&raw.at)?;
        let until = raw.until.map(|until| self.moment(&until)).transpose()?;
        Ok(MarkEntry { kind, at, until, text: raw.text })
    }

    fn blood_gas(&self, raw: &Spanned<RawBloodGas>) -> Result<(Moment, f64), NotesError> {
        let (line, gas) = (self.line(raw), raw.get_ref());
        let kpa = one_of("pco2", gas.pco2_kpa, gas.pco2_mmhg, CO2_LEAST_KPA, line)?;
        Ok((self.moment(&gas.at)?, kpa))
    }

    fn gas_check(&self, raw: &Spanned<RawGasCheck>) -> Result<(Moment, f64, f64), NotesError> {
        let (line, check) = (self.line(raw), raw.get_ref());
        let expected = one_of("expected", check.expected_kpa, check.expected_mmhg, 0.0, line)?;
        let observed = one_of("observed", check.observed_kpa, check.observed_mmhg, 0.0, line)?;
        Ok((self.moment(&check.at)?, expected, observed))
    }

    fn monitor(&self, raw: &Spanned<RawMonitor>) -> Result<MonitorNotes, NotesError> {
        let (line, monitor) = (self.line(raw), raw.get_ref());
        if let Some(celsius) = monitor.sensor_temp_c.filter(|c| !(30.0..=50.0).contains(c)) {
            return Err(NotesError::new(
                format!("sensor_temp_c = {celsius} is no temperature of a heated sensor"),
                line,
            )
            .hint("expected 30 to 50 °C"));
        }
        if let Some(s) = monitor.averaging_s.filter(|s| !(*s > 0.0 && *s <= 120.0)) {
            return Err(NotesError::new(
                format!("averaging_s = {s} is no averaging time of an oximeter"),
                line,
            )
            .hint("expected more than 0 and at most 120 s"));
        }
        Ok(MonitorNotes {
            corrected: monitor.corrected,
            sensor_temp_c: monitor.sensor_temp_c,
            averaging_s: monitor.averaging_s,
        })
    }

    /// Exclusions and what was put back, in the order they stand in the file: a later one wins.
    fn edits(
        &self,
        exclude: Vec<Spanned<RawEdit>>,
        put_back: Vec<Spanned<RawEdit>>,
    ) -> Result<Vec<EditEntry>, NotesError> {
        let tagged = |all: Vec<Spanned<RawEdit>>, believe| {
            all.into_iter().map(move |edit| (edit.span().start, edit.into_inner(), believe))
        };
        let mut all: Vec<_> = tagged(exclude, false).chain(tagged(put_back, true)).collect();
        all.sort_by_key(|(start, ..)| *start);
        all.into_iter().map(|(_, raw, believe)| self.edit(raw, believe)).collect()
    }

    fn edit(&self, raw: RawEdit, believe: bool) -> Result<EditEntry, NotesError> {
        let id = raw.channel.get_ref();
        let quantity = Quantity::from_id(id).ok_or_else(|| {
            NotesError::new(format!("channel `{id}` is not known"), self.line(&raw.channel))
                .hint("for instance spo2, pulse or tcpco2")
        })?;
        Ok(EditEntry {
            quantity,
            from: self.moment(&raw.from)?,
            until: self.moment(&raw.until)?,
            believe,
            author: raw.author,
            made_at: raw.made_at.map_or_else(String::new, |at| match at {
                toml::Value::String(text) => text,
                other => other.to_string(),
            }),
            reason: raw.reason,
        })
    }
}

/// A CO2 given in kPa or in mmHg, in kPa.
fn one_of(
    what: &str,
    kpa: Option<f64>,
    mmhg: Option<f64>,
    least_kpa: f64,
    line: usize,
) -> Result<f64, NotesError> {
    let (value, unit, value_kpa) = match (kpa, mmhg) {
        (Some(kpa), None) => (kpa, "kpa", kpa),
        (None, Some(mmhg)) => (mmhg, "mmhg", unit::kpa_from_mmhg(mmhg)),
        (None, None) => {
            let what = format!("{what}_kpa or {what}_mmhg is missing");
            return Err(NotesError::new(what, line));
        }
        (Some(_), Some(_)) => {
            let what = format!("both {what}_kpa and {what}_mmhg are given: expected one");
            return Err(NotesError::new(what, line));
        }
    };
    // Between zero and a person's least, no check gas is in use: a small mmHg is a kPa.
    let small = value_kpa > 0.0 && value_kpa < CO2_LEAST_KPA && unit == "mmhg";
    if small || !(least_kpa..=CO2_MOST_KPA).contains(&value_kpa) {
        let other = if unit == "kpa" { "mmHg" } else { "kPa" };
        return Err(NotesError::new(format!("{what}_{unit} = {value} cannot be right"), line)
            .hint(format!("was it in {other}?")));
    }
    Ok(value_kpa)
}
