//! The morning: a file comes off a monitor, is kept whole, cut into nights, and each night tied to its loan
//! when everything agrees. A night in doubt waits for a named person and cannot be read until then.

use engine::finding::Finding;
use engine::finding::Weight;
use engine::recording::Recording;

use crate::act::Act;
use crate::act::Author;
use crate::bytes::Packed;
use crate::cut::Piece;
use crate::cut::pieces;
use crate::db::Store;
use crate::error::Result;
use crate::error::StoreError;
use crate::person::reason_given;
use crate::person::still_valid;
use crate::record::Kept;
use crate::scoring::Reading;
use crate::scoring::not_signed;
use crate::scoring::reading_of;
use crate::setting::DeskSettings;
use crate::tables::Loan;
use crate::tables::Monitor;
use crate::tables::Night;
use crate::tables::Original;
use crate::tables::Person;
use crate::tables::Setting;
use crate::tables::Study;
use crate::when::local_minute;
use crate::whose::Desk;
use crate::whose::FilePatient;
use crate::whose::Fit;
use crate::whose::Span;
use crate::whose::file_patient;
use crate::whose::fit;
use crate::whose::monitor_of;
use crate::words::LoanStatus;
use crate::words::NightStatus;
use crate::words::Role;
use crate::words::StudyStatus;

/// A file as it came off a monitor.
#[derive(Clone, Debug, Default)]
pub struct Incoming {
    /// Its name.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Zone of the monitor's clock; `None` is the department's.
    pub zone: Option<String>,
    /// The column map of a delimited text that needs one, as its file.
    pub map: Option<String>,
    /// The monitor it was taken off, by its label, when somebody said so.
    pub taken_off: Option<i64>,
}

/// What became of a file.
#[derive(Clone, Debug)]
pub struct Received {
    /// The original.
    pub original: Original,
    /// Its nights.
    pub nights: Vec<Night>,
    /// Whether the same bytes were in the record already; nothing was stored then.
    pub again: bool,
    /// What was noticed, in words: pieces too short to be a night, what the reader found, nights not yet scored.
    pub noticed: Vec<String>,
}

/// What is known of a file before the record is asked.
struct Opened {
    packed: Packed,
    recording: Recording,
    patient: FilePatient,
    nights: Vec<Piece>,
    short: Vec<Piece>,
}

fn open(bytes: &[u8], reading: &Reading) -> Result<Opened> {
    let recording = reading.read(bytes)?;
    let (nights, short) = pieces(&recording);
    Ok(Opened {
        packed: Packed::new(bytes)?,
        patient: file_patient(bytes),
        recording,
        nights,
        short,
    })
}

impl Store {
    /// Takes in a file: kept whole, cut into nights, each tied to its loan or left with its doubts, and the
    /// tied ones scored.
    ///
    /// # Errors
    /// When the file is not understood; then nothing is kept. A night in doubt is no error.
    pub async fn receive(&self, by: &Author, file: Incoming) -> Result<Received> {
        let desk = self.read().await?.desk_settings().await?;
        let reading = Reading {
            name: file.name.clone(),
            zone: file.zone.clone().unwrap_or_else(|| desk.zone.clone()),
            map: file.map.clone(),
        };
        let (bytes, how) = (file.bytes, reading.clone());
        let opened = tokio::task::spawn_blocking(move || open(&bytes, &how)).await;
        let opened = opened.map_err(|error| StoreError::Damaged { says: error.to_string() })??;
        let mut act = self.act(by, "night.receive").await?;
        let same = "WHERE sha256 = $1";
        let known: Option<Original> =
            act.conn().first(same, &[opened.packed.sha256.as_str().into()]).await?;
        if let Some(original) = known {
            return came_again(act, original).await;
        }
        let original = act.keep_original(&file.name, &opened, &reading).await?;
        let mut received =
            Received { original, nights: Vec::new(), again: false, noticed: Vec::new() };
        received
            .noticed
            .extend(opened.short.iter().map(|piece| left_out(&opened.recording, piece)));
        received.noticed.extend(found(&opened.recording));
        for piece in &opened.nights {
            let night =
                act.put_night(&received.original, &opened, *piece, file.taken_off, &desk).await?;
            received.nights.push(night);
        }
        let person = one_person(&received.nights);
        act.on(format!("original {}", received.original.id), person);
        act.close().await?;
        self.score_all(by, &mut received).await?;
        Ok(received)
    }

    /// Scores the nights that were tied. One that cannot be scored stays tied and says why.
    async fn score_all(&self, by: &Author, received: &mut Received) -> Result<()> {
        for night in &mut received.nights {
            if night.status != NightStatus::Waiting {
                continue;
            }
            if let Err(error) = self.score_night(by, night.id).await {
                received.noticed.push(format!("night {} is not scored yet: {error}", night.id));
            }
            *night = self.read().await?.get(night.id).await?;
        }
        Ok(())
    }

    /// Says whose night it is. A physiologist or an administrator does it, by name and with a reason.
    ///
    /// # Errors
    /// When somebody else tries, the night is tied, signed or set aside, the loan never went out, or no
    /// reason is given.
    pub async fn settle_night(
        &self,
        by: &Author,
        id: i64,
        loan: i64,
        reason: &str,
    ) -> Result<Night> {
        may_settle(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "night.settle").await?;
        let mut night: Night = act.get(id).await?;
        if !matches!(night.status, NightStatus::Untied | NightStatus::SetAside) {
            return Err(StoreError::refused(
                "night_tied",
                "this night is tied to a loan already",
                "untie it first, with a reason",
            ));
        }
        let loan: Loan = act.get(loan).await?;
        if loan.out_at.is_none() {
            return Err(StoreError::refused(
                "loan_not_out",
                format!("the monitor of loan {} never went out", loan.mark),
                "choose the loan the night was recorded in",
            ));
        }
        still_valid(&act.get::<Person>(loan.person).await?)?;
        night.settled_by = Some(by.login.clone());
        night.settled_because = Some(reason.clone());
        act.tie(&mut night, &loan).await?;
        act.because(reason);
        act.put(&mut night).await?;
        act.on(format!("night {id}"), night.person);
        act.close().await?;
        self.score_night(by, id).await?;
        self.read().await?.get(id).await
    }

    /// Takes a night away from a loan it was wrongly tied to. It cannot be read until it is settled again.
    ///
    /// # Errors
    /// When somebody without the right tries, the night is not tied or its report is signed, or no reason is given.
    pub async fn untie_night(&self, by: &Author, id: i64, reason: &str) -> Result<Night> {
        may_settle(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "night.untie").await?;
        let mut night: Night = act.get(id).await?;
        not_signed(&night)?;
        if night.loan.is_none() {
            return Err(StoreError::refused("night_untied", "this night is tied to nobody", ""));
        }
        let was = night.person;
        act.loosen(&mut night, NightStatus::Untied).await?;
        night.doubts.0.push(format!("it was untied by {}: {reason}", by.name));
        act.because(reason);
        act.put(&mut night).await?;
        act.on(format!("night {id}"), was);
        act.close().await?;
        Ok(night)
    }

    /// Sets a night aside: it is none of this department's patients', or a double. It stays in the record.
    ///
    /// # Errors
    /// As [`Store::untie_night`].
    pub async fn set_night_aside(&self, by: &Author, id: i64, reason: &str) -> Result<Night> {
        may_settle(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "night.set_aside").await?;
        let mut night: Night = act.get(id).await?;
        not_signed(&night)?;
        let was = night.person;
        act.loosen(&mut night, NightStatus::SetAside).await?;
        night.settled_by = Some(by.login.clone());
        night.settled_because = Some(reason.clone());
        act.because(reason);
        act.put(&mut night).await?;
        act.on(format!("night {id}"), was);
        act.close().await?;
        Ok(night)
    }
}

/// The same bytes once more: nothing is stored, and that they came is written down.
async fn came_again(mut act: Act, original: Original) -> Result<Received> {
    if original.destroyed_at.is_some() {
        return Err(StoreError::refused(
            "original_destroyed",
            "this file was in the record and was destroyed when its time was over",
            "talk to information governance before it is taken in again",
        ));
    }
    let nights: Vec<Night> =
        act.conn().find("WHERE original = $1 ORDER BY from_s", &[original.id.into()]).await?;
    act.on(format!("original {}", original.id), one_person(&nights));
    act.note(serde_json::json!({"again": true}));
    act.close().await?;
    Ok(Received {
        original,
        nights,
        again: true,
        noticed: vec!["this file is in the record already".to_owned()],
    })
}

/// How a serious finding begins where what was noticed is listed.
pub const SERIOUS: &str = "Serious: ";

/// What the reader found, the heaviest first, with its weight where it is serious.
fn found(recording: &Recording) -> Vec<String> {
    let mut all: Vec<_> = recording.findings.iter().collect();
    all.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    let words = |finding: &Finding| match finding.weight {
        Weight::Serious => format!("{SERIOUS}{}", finding.sentence),
        Weight::Note | Weight::Caution => finding.sentence.clone(),
    };
    all.into_iter().map(words).collect()
}

fn one_person(nights: &[Night]) -> Option<i64> {
    let first = nights.first()?.person;
    first.filter(|_| nights.iter().all(|night| night.person == first))
}

fn may_settle(by: &Author) -> Result<()> {
    match by.role {
        Role::Physiologist | Role::Administrator => Ok(()),
        _ => Err(StoreError::refused(
            "not_yours_to_settle",
            "whose night it is is settled by a physiologist or an administrator",
            "ask one of them",
        )),
    }
}

fn left_out(recording: &Recording, piece: &Piece) -> String {
    let at = |s: i64| recording.clock.label(s as f64, false);
    format!(
        "a piece from {} to {} is too short to be a night and was left in the original",
        at(piece.from_s),
        at(piece.to_s)
    )
}

impl Act {
    async fn keep_original(
        &mut self,
        name: &str,
        opened: &Opened,
        reading: &Reading,
    ) -> Result<Original> {
        self.keep(&opened.packed).await?;
        let mut original = Original {
            id: 0,
            act: 0,
            sha256: opened.packed.sha256.clone(),
            name: name.to_owned(),
            length: opened.packed.length,
            format: opened.recording.format.name().to_owned(),
            serial: opened.recording.monitor.clone(),
            received_at: self.at(),
            who: self.author().login.clone(),
            destroyed_at: None,
            destroyed_because: None,
        };
        self.put(&mut original).await?;
        let value = serde_json::to_string(reading)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        let (at, who) = (self.at(), self.author().login.clone());
        let name = reading_of(original.id);
        self.put(&mut Setting { id: 0, act: 0, name, value, at, who }).await?;
        Ok(original)
    }

    async fn put_night(
        &mut self,
        original: &Original,
        opened: &Opened,
        piece: Piece,
        taken_off: Option<i64>,
        desk: &DeskSettings,
    ) -> Result<Night> {
        let found = self.whose(original, opened, piece, taken_off, desk).await?;
        let mut night = Night {
            id: 0,
            act: 0,
            original: original.id,
            from_s: piece.from_s,
            to_s: piece.to_s,
            start_at: found.span.start_at,
            end_at: found.span.end_at,
            status: NightStatus::Untied,
            loan: None,
            person: None,
            study: None,
            doubts: Kept(found.doubts),
            settled_by: None,
            settled_because: None,
            notes: String::new(),
            result: None,
        };
        if let (true, Some(loan)) = (night.doubts.0.is_empty(), found.loan) {
            let loan: Loan = self.get(loan).await?;
            self.tie(&mut night, &loan).await?;
        }
        self.put(&mut night).await?;
        Ok(night)
    }

    /// The loan a night points to, with everything that does not agree.
    async fn whose(
        &mut self,
        original: &Original,
        opened: &Opened,
        piece: Piece,
        taken_off: Option<i64>,
        settings: &DeskSettings,
    ) -> Result<Fit> {
        let zone = settings.zone();
        let now = self.at();
        let Some(span) = span_of(&opened.recording, piece) else {
            let doubts = vec!["the file tells times of day and no date".to_owned()];
            return Ok(Fit { loan: None, span: Span { start_at: now, end_at: now }, doubts });
        };
        let monitors: Vec<Monitor> = self.conn().find("ORDER BY id", &[]).await?;
        let header = opened.recording.monitor.as_deref();
        let (monitor, doubts) = monitor_of(&original.name, header, taken_off, &monitors);
        let Some(monitor) = monitor else { return Ok(Fit { loan: None, span, doubts }) };
        let loans: Vec<Loan> = self
            .conn()
            .find("WHERE monitor = $1 AND out_at IS NOT NULL ORDER BY id", &[monitor.id.into()])
            .await?;
        let desk = Desk { zone: &zone, now, clock_limit_s: settings.clock_limit_s };
        let mut found = fit(span, monitor, &loans, &desk);
        if let Some(loan) = loans.iter().find(|loan| Some(loan.id) == found.loan) {
            let person: Person = self.get(loan.person).await?;
            if person.voided_at.is_some() {
                found.doubts.push("the borrower's row was voided since".to_owned());
            }
            found.doubts.extend(opened.patient.against(&person));
            found.doubts.extend(self.doubles(loan, found.span, &zone).await?);
            if loan.status == LoanStatus::Lost {
                found
                    .doubts
                    .push(format!("the monitor of loan {} was given up as lost", loan.mark));
            }
        }
        Ok(found)
    }

    async fn doubles(
        &mut self,
        loan: &Loan,
        span: Span,
        zone: &jiff::tz::TimeZone,
    ) -> Result<Vec<String>> {
        let clause = "WHERE loan = $1 AND start_at < $2 AND end_at > $3";
        let with = [loan.id.into(), span.end_at.into(), span.start_at.into()];
        let others: Vec<Night> = self.conn().find(clause, &with).await?;
        let says = |night: &Night| {
            format!(
                "loan {} has a night of the same time already, from {}",
                loan.mark,
                local_minute(night.start_at, zone)
            )
        };
        Ok(others.iter().map(says).collect())
    }

    /// Ties a night to a loan, and lets its study wait for the reading.
    async fn tie(&mut self, night: &mut Night, loan: &Loan) -> Result<()> {
        (night.loan, night.person, night.study) =
            (Some(loan.id), Some(loan.person), Some(loan.study));
        night.status = NightStatus::Waiting;
        let mut study: Study = self.get(loan.study).await?;
        if matches!(study.status, StudyStatus::Waiting | StudyStatus::OnLoan) {
            study.status = StudyStatus::ToRead;
            self.put(&mut study).await?;
        }
        Ok(())
    }

    /// Takes a night off its loan. A study left without a night to read waits again.
    async fn loosen(&mut self, night: &mut Night, status: NightStatus) -> Result<()> {
        if let Some(study) = night.study {
            let others = "SELECT COUNT(*) FROM night WHERE study = $1 AND id <> $2";
            let left = self.conn().number(others, &[study.into(), night.id.into()]).await?;
            let mut study: Study = self.get(study).await?;
            if left == 0 && study.status == StudyStatus::ToRead {
                study.status = StudyStatus::Waiting;
                self.put(&mut study).await?;
            }
        }
        (night.loan, night.person, night.study, night.result) = (None, None, None, None);
        night.notes = String::new();
        night.status = status;
        Ok(())
    }
}

fn span_of(recording: &Recording, piece: Piece) -> Option<Span> {
    let start_at = recording.clock.start_instant()?.as_second();
    Some(Span { start_at: start_at + piece.from_s, end_at: start_at + piece.to_s })
}
