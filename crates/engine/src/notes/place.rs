//! Notes placed on a recording's clock.

use crate::finding::{Finding, Weight};
use crate::notes::diary::is_night;
use crate::notes::file::{Moment, NotesError, NotesFile};
use crate::notes::other_night;
use crate::notes::when::{When, place};
use crate::notes::{BloodGas, Edit, GasCheck, Notes};
use crate::recording::{Author, Mark, MarkKind, Quantity, Recording};
use crate::time::Stretch;
use crate::unit::TOLERANCE;
use crate::unit::mmhg_from_kpa;

/// How the refusal of such notes begins.
const OTHER_NIGHT: &str = "the notes belong to another night";

impl NotesFile {
    /// The notes, placed on the recording's clock.
    ///
    /// A time of day means its occurrence inside the recording, or the nearest to it. Where notes and
    /// recording both mark lights out, or lights on, the notes win; of several in the notes, the key
    /// `lights_out` wins over marks, and a later mark over an earlier one. What lost is kept as a note.
    ///
    /// # Errors
    /// [`NotesError`] for a time that came twice or never, for an end before its beginning, and for notes that
    /// belong to another night.
    pub fn place(&self, recording: &Recording) -> Result<Notes, NotesError> {
        let notes = self.laid(recording)?;
        match other_night::found(&notes, recording) {
            Some(what) => Err(NotesError::new(format!("{OTHER_NIGHT}: {what}"), self.first_line())
                .of_another_night()
                .hint("give the notes of this night; if they are, put their dates or the monitor's clock right")),
            None => Ok(finished(notes, recording)),
        }
    }

    /// The line of the first time in the notes.
    fn first_line(&self) -> usize {
        let marks = self.marks.iter().map(|mark| mark.at);
        let edits = self.edits.iter().map(|edit| edit.from);
        let all = self.lights_out.into_iter().chain(self.lights_on).chain(marks).chain(edits);
        all.map(|moment| moment.line).min().unwrap_or(1)
    }

    /// The same for notes that were kept with a night: those of another night are a finding, so that a night
    /// scored with them once can still be opened.
    ///
    /// # Errors
    /// [`NotesError`] for a time that came twice or never, and for an end before its beginning.
    pub fn place_kept(&self, recording: &Recording) -> Result<Notes, NotesError> {
        let mut notes = self.laid(recording)?;
        if let Some(what) = other_night::found(&notes, recording) {
            let sentence = format!("The notes belong to another night: {what}.");
            let finding = Finding::new("notes_of_another_night", Weight::Serious, sentence);
            notes.findings.push(finding);
        }
        Ok(finished(notes, recording))
    }

    fn laid(&self, recording: &Recording) -> Result<Notes, NotesError> {
        let mut findings = Vec::new();
        let mut marks = self.marks(recording)?;
        for (kind, key) in
            [(MarkKind::LightsOut, self.lights_out), (MarkKind::LightsOn, self.lights_on)]
        {
            one_wins(kind, key, &mut marks, recording, &mut findings)?;
        }
        self.lights_in_order(&marks)?;
        marks.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        tell_outside(&marks, recording, &mut findings);
        let edits = self.edits(recording, &mut findings)?;
        Ok(Notes {
            marks,
            representative: self.representative,
            blood_gases: self.blood_gases(recording)?,
            gas_checks: self.gas_checks(recording)?,
            monitor: self.monitor,
            question: self.question.clone(),
            breathing: self.breathing.clone(),
            told: self.told.clone(),
            edits,
            findings,
        })
    }

    fn marks(&self, recording: &Recording) -> Result<Vec<Mark>, NotesError> {
        let placed = self.marks.iter().map(|entry| {
            let start_s = place(&entry.at, recording)?;
            let end_s = entry.until.map(|until| after(start_s, &until, recording)).transpose()?;
            let text = entry.text.clone();
            Ok(Mark { kind: entry.kind, start_s, end_s, text, author: Author::Notes })
        });
        placed.collect()
    }

    fn lights_in_order(&self, marks: &[Mark]) -> Result<(), NotesError> {
        let at = |kind| marks.iter().find(|mark| mark.kind == kind).map(|mark| mark.start_s);
        match (at(MarkKind::LightsOut), at(MarkKind::LightsOn)) {
            (Some(out_s), Some(on_s)) if on_s <= out_s => {
                let line = self.lights_on.or(self.lights_out).map_or(1, |moment| moment.line);
                let error = NotesError::new("lights on is not after lights out", line);
                Err(if self.tells_a_night() { error.of_another_night() } else { error })
            }
            _ => Ok(()),
        }
    }

    /// Whether lights out and on are times of day with a night between: where they cannot be laid in order,
    /// the recording is of the day between two nights.
    fn tells_a_night(&self) -> bool {
        let of_day = |moment: Option<Moment>| match moment?.when {
            When::OfDay(time) => Some(i32::from(time.hour()) * 60 + i32::from(time.minute())),
            When::Civil(_) | When::Instant(_) => None,
        };
        let lights = of_day(self.lights_out).zip(of_day(self.lights_on));
        lights.is_some_and(|(out_min, on_min)| is_night(out_min, on_min))
    }

    fn blood_gases(&self, recording: &Recording) -> Result<Vec<BloodGas>, NotesError> {
        let placed = self.blood_gases.iter().map(|(at, pco2_kpa)| {
            Ok(BloodGas { at_s: place(at, recording)?, pco2_kpa: *pco2_kpa })
        });
        let mut gases = placed.collect::<Result<Vec<_>, NotesError>>()?;
        gases.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        Ok(gases)
    }

    fn gas_checks(&self, recording: &Recording) -> Result<Vec<GasCheck>, NotesError> {
        let placed = self.gas_checks.iter().map(|(at, expected_kpa, observed_kpa)| {
            Ok(GasCheck {
                at_s: place(at, recording)?,
                expected_kpa: *expected_kpa,
                observed_kpa: *observed_kpa,
            })
        });
        let mut checks = placed.collect::<Result<Vec<_>, NotesError>>()?;
        checks.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        Ok(checks)
    }

    fn edits(
        &self,
        recording: &Recording,
        findings: &mut Vec<Finding>,
    ) -> Result<Vec<Edit>, NotesError> {
        let mut edits = Vec::new();
        for entry in &self.edits {
            let start_s = place(&entry.from, recording)?;
            let stretch = Stretch::new(start_s, after(start_s, &entry.until, recording)?);
            let seen = recording.channel(entry.quantity).is_some();
            if !seen || !stretch.overlaps(&recording.whole()) {
                let sentence = format!(
                    "A stretch judged by {}, {} to {} of {}, changes nothing: the recording holds \
                     none of it.",
                    entry.author,
                    label(stretch.start_s, recording),
                    label(stretch.end_s, recording),
                    entry.quantity.name()
                );
                findings.push(Finding::new("edit_without_effect", Weight::Caution, sentence));
            }
            edits.push(Edit {
                quantity: entry.quantity,
                stretch,
                believe: entry.believe,
                author: entry.author.clone(),
                made_at: entry.made_at.clone(),
                reason: entry.reason.clone(),
            });
        }
        Ok(edits)
    }
}

/// Notes of this night alone, with what they contradict.
fn finished(mut notes: Notes, recording: &Recording) -> Notes {
    other_night::set_aside(&mut notes, recording);
    notes.findings.extend(gases_contradict(&notes.blood_gases, recording));
    notes
}

/// Places an end; refuses one that is not after its beginning.
fn after(start_s: f64, until: &Moment, recording: &Recording) -> Result<f64, NotesError> {
    let end_s = place(until, recording)?;
    if end_s > start_s {
        return Ok(end_s);
    }
    let what = format!(
        "until ({}) is not after the beginning ({})",
        label(end_s, recording),
        label(start_s, recording)
    );
    Err(NotesError::new(what, until.line))
}

fn label(at_s: f64, recording: &Recording) -> String {
    recording.clock.dated(at_s, recording.duration_s)
}

/// Leaves one mark of lights out, or on, among the notes' marks, and tells what it overrules.
fn one_wins(
    kind: MarkKind,
    key: Option<Moment>,
    marks: &mut Vec<Mark>,
    recording: &Recording,
    findings: &mut Vec<Finding>,
) -> Result<(), NotesError> {
    if let Some(moment) = key {
        let start_s = place(&moment, recording)?;
        let text = String::new();
        marks.push(Mark { kind, start_s, end_s: None, text, author: Author::Notes });
    }
    let Some(winner) = marks.iter().rposition(|mark| mark.kind == kind) else { return Ok(()) };
    let at_s = marks[winner].start_s;
    let words = if kind == MarkKind::LightsOut { "Lights out" } else { "Lights on" };
    let mut overruled = Vec::new();
    for (place, mark) in marks.iter_mut().enumerate() {
        if mark.kind == kind && place != winner {
            overruled.push((mark.start_s, "in the notes too"));
            mark.kind = MarkKind::Note;
            let text = format!("{} {}", words.to_lowercase(), mark.text);
            text.trim_end().clone_into(&mut mark.text);
        }
    }
    let of_file = recording.marks.iter().filter(|mark| mark.kind == kind);
    overruled.extend(of_file.map(|mark| (mark.start_s, "in the recording")));
    // Marks less than a minute apart say the same.
    for (other_s, whence) in overruled.into_iter().filter(|(s, _)| (s - at_s).abs() >= 60.0) {
        let sentence = format!(
            "{words} is marked at {} {whence}, at {} in the notes: {0} was set aside.",
            label(other_s, recording),
            label(at_s, recording)
        );
        findings.push(Finding::new("marks_contradict", Weight::Caution, sentence));
    }
    Ok(())
}

/// Two blood gases of one minute with different numbers: one of them may be a slip, or of another sample.
fn gases_contradict(gases: &[BloodGas], recording: &Recording) -> Vec<Finding> {
    let pairs = gases.windows(2).filter(|pair| {
        pair[1].at_s - pair[0].at_s < 60.0
            && (pair[0].pco2_kpa - pair[1].pco2_kpa).abs() > TOLERANCE
    });
    let words = |kpa: f64| format!("{kpa:.2} kPa ({:.1} mmHg)", mmhg_from_kpa(kpa));
    pairs
        .map(|pair| {
            let sentence = format!(
                "Two blood gases stand at {}: {} and {}. Which is right? Both were kept.",
                label(pair[0].at_s, recording),
                words(pair[0].pco2_kpa),
                words(pair[1].pco2_kpa)
            );
            Finding::new("blood_gases_contradict", Weight::Serious, sentence)
                .on(Quantity::Tcpco2.id())
        })
        .collect()
}

fn tell_outside(marks: &[Mark], recording: &Recording, findings: &mut Vec<Finding>) {
    // Those of another night are told as such.
    for mark in marks.iter().filter(|mark| !other_night::is_far(mark, recording)) {
        let end_s = mark.end_s.unwrap_or(mark.start_s);
        let side = match mark {
            _ if mark.start_s < 0.0 => "begins before the recording",
            _ if end_s > recording.duration_s => "ends after the recording",
            _ => continue,
        };
        let sentence = format!(
            "The mark {} at {} {side}, which runs from {} to {}.",
            mark.kind.id(),
            label(mark.start_s, recording),
            label(0.0, recording),
            label(recording.duration_s, recording)
        );
        findings.push(Finding::new("mark_outside", Weight::Note, sentence));
    }
}
