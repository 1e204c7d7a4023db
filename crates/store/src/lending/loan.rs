//! Loans: promising a monitor, handing it out, taking it back, and what happens when it does not come.

use jiff::civil::Date;

use crate::error::Refusal;
use crate::error::Result;
use crate::error::StoreError;
use crate::ident;
use crate::lending::machine::Move;
use crate::lending::monitor::Going;
use crate::lending::monitor::cannot_promise;
use crate::lending::monitor::keeps_in;
use crate::lending::monitor::missing_parts;
use crate::lending::setting::DeskSettings;
use crate::people::person::reason_given;
use crate::people::person::some;
use crate::people::person::still_valid;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::row::Kept;
use crate::record::tables::Chase;
use crate::record::tables::HandOut;
use crate::record::tables::Loan;
use crate::record::tables::LoanNight;
use crate::record::tables::Monitor;
use crate::record::tables::Person;
use crate::record::tables::Study;
use crate::record::tables::TakeBack;
use crate::when;
use crate::words::Contact;
use crate::words::LoanStatus;
use crate::words::MonitorStatus;
use crate::words::StudyStatus;

/// What may be asked to be sure of who stands there.
pub const IDENTIFIERS: [(&str, &str); 5] = [
    ("name", "full name"),
    ("born_on", "day of birth"),
    ("nhs_number", "NHS number"),
    ("mrn", "hospital number"),
    ("address", "first line of the address"),
];

/// How late a monitor must be before it is not counted on for other loans, s.
pub(crate) const LATE_S: i64 = 86_400;

/// A loan as somebody books it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LoanForm {
    /// The study it serves.
    pub study: i64,
    /// Evening of the first night.
    pub first_night_on: Date,
    /// How many nights.
    pub nights: i64,
    /// The monitor wanted; `None` lets the desk's rule choose.
    pub monitor: Option<i64>,
    /// The night this one repeats.
    pub repeats_night: Option<i64>,
}

/// No loan has more evenings, whatever number somebody gives.
const EVENINGS: i64 = 400;

/// No monitor's clock is further off, s: a hundred years.
const CLOCK_FURTHEST_S: i64 = 3_155_760_000;

/// Refuses a difference of clocks that is none: a night is set right by it.
fn clock_told(ahead_s: Option<i64>) -> Result<()> {
    match ahead_s {
        Some(ahead_s) if ahead_s.unsigned_abs() > CLOCK_FURTHEST_S.unsigned_abs() => {
            Err(StoreError::refused(
                "clock_off",
                format!("the monitor's clock cannot be {ahead_s} s off, at most a hundred years"),
                "read it again, and give the difference in seconds",
            ))
        }
        _ => Ok(()),
    }
}

/// The evenings of a stretch of nights.
pub fn evenings(first: Date, nights: i64) -> Vec<Date> {
    (0..nights.min(EVENINGS)).map(|later| when::days_later(first, later)).collect()
}

/// What stands in the way of a hand-out as it was filled in. Empty: it is complete.
pub fn hand_out_faults(form: &HandOut, desk: &DeskSettings) -> Vec<Refusal> {
    let mut all = Vec::new();
    let mut known: Vec<&str> = form
        .identified_by
        .iter()
        .map(String::as_str)
        .filter(|one| IDENTIFIERS.iter().any(|(id, _)| id == one))
        .collect();
    known.sort_unstable();
    known.dedup();
    if known.len() < 2 {
        all.push(Refusal::new(
            "identity_unsure",
            "two identifiers have not been asked and compared",
            "ask for the name and the day of birth, and compare them with the record",
        ));
    }
    if !form.burn_warning_told {
        all.push(Refusal::new(
            "warning_not_told",
            "the warning about the warm sensor has not been given",
            "tell that it is warm, comes off when the alarm rings, and at once when the skin hurts, is sore or blisters",
        ));
    }
    all.extend(heat_faults(form, desk));
    if !form.fitting_shown {
        all.push(Refusal::new(
            "fitting_not_shown",
            "fitting the sensor has not been shown",
            "show it, and let them do it once",
        ));
    }
    if !form.agreement_signed {
        all.push(Refusal::new(
            "agreement_missing",
            "the borrower has not signed for the monitor",
            "have the hand-out sheet signed",
        ));
    }
    let missing = missing_parts(&desk.parts, &form.parts);
    if !missing.is_empty() {
        all.push(Refusal::new(
            "parts_missing",
            format!("missing from the bag: {}", missing.join(", ")),
            "put them in and count again",
        ));
    }
    all
}

/// What stands in the way of a heated sensor: how long it may stay, and who takes it off.
fn heat_faults(form: &HandOut, desk: &DeskSettings) -> Vec<Refusal> {
    let mut all = Vec::new();
    if let Err(StoreError::Refused(why)) = desk.worn_min(form.longest_min) {
        all.extend(why);
    }
    if !form.takes_off && form.carer.as_deref().and_then(some).is_none() {
        all.push(Refusal::new(
            "nobody_takes_it_off",
            "nobody is named who takes the sensor off when it is too hot",
            "ask whether the patient feels heat there, can call out and can take it off; else name who stays the night and will",
        ));
    }
    all
}

impl Store {
    /// Promises a monitor for the nights asked.
    ///
    /// # Errors
    /// When none is free, or the one wanted is promised, cannot go or falls due for service.
    pub async fn book(&self, by: &Author, form: LoanForm) -> Result<Loan> {
        let mut act = self.act(by, "loan.book").await?;
        let loan = act.book(&form, None).await?;
        act.close().await?;
        Ok(loan)
    }

    /// Gives up a loan before its monitor went out.
    ///
    /// # Errors
    /// When it is out or over, or no reason is given.
    pub async fn cancel(&self, by: &Author, id: i64, reason: &str) -> Result<Loan> {
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "loan.cancel").await?;
        let mut loan: Loan = act.get(id).await?;
        stands(&loan, LoanStatus::Booked)?;
        act.unpack(&loan, "loan cancelled").await?;
        act.free_nights(loan.id, "").await?;
        loan.status = LoanStatus::Cancelled;
        loan.because = Some(reason.clone());
        act.because(reason);
        act.put(&mut loan).await?;
        act.study_waits(loan.study).await?;
        act.on(format!("loan {id}"), Some(loan.person));
        act.close().await?;
        Ok(loan)
    }

    /// Packs the promised monitor for its loan. Handing out does it too when it was not done before.
    ///
    /// # Errors
    /// Everything that keeps the monitor in.
    pub async fn set_aside(&self, by: &Author, id: i64) -> Result<Loan> {
        let mut act = self.act(by, "loan.set_aside").await?;
        let desk = act.conn().desk_settings().await?;
        let loan: Loan = act.get(id).await?;
        stands(&loan, LoanStatus::Booked)?;
        let mut monitor: Monitor = act.get(loan.monitor).await?;
        let faults = act.keeps_in(&monitor, &loan, &desk).await?;
        if !faults.is_empty() {
            return Err(StoreError::Refused(faults));
        }
        monitor.loan = Some(loan.id);
        act.step(&mut monitor, Move::SetAside, "set aside").await?;
        act.on(format!("loan {id}"), Some(loan.person));
        act.close().await?;
        Ok(loan)
    }

    /// Gives the loan another monitor before it goes out.
    ///
    /// # Errors
    /// When the loan is out or over, or the other monitor is not free.
    pub async fn exchange_monitor(
        &self,
        by: &Author,
        id: i64,
        monitor: Option<i64>,
    ) -> Result<Loan> {
        let mut act = self.act(by, "loan.exchange").await?;
        let desk = act.conn().desk_settings().await?;
        let today = when::local_date(act.at(), &desk.zone());
        let mut loan: Loan = act.get(id).await?;
        stands(&loan, LoanStatus::Booked)?;
        let first = loan.first_night()?;
        act.unpack(&loan, "another monitor goes out").await?;
        act.free_nights(loan.id, "").await?;
        let form = LoanForm {
            study: loan.study,
            first_night_on: first,
            nights: loan.nights,
            monitor,
            repeats_night: None,
        };
        loan.monitor = act.choose_other(&form, today, loan.monitor).await?.id;
        act.put(&mut loan).await?;
        act.hold_nights(&loan, &evenings(first, loan.nights)).await?;
        act.on(format!("loan {id}"), Some(loan.person));
        act.close().await?;
        Ok(loan)
    }

    /// Adds nights to a loan that is booked or out.
    ///
    /// # Errors
    /// When the monitor is promised to somebody else in them.
    pub async fn extend(&self, by: &Author, id: i64, more: i64) -> Result<Loan> {
        let mut act = self.act(by, "loan.extend").await?;
        let desk = act.conn().desk_settings().await?;
        let mut loan: Loan = act.get(id).await?;
        if !matches!(loan.status, LoanStatus::Booked | LoanStatus::Out) {
            return Err(StoreError::refused(
                "loan_over",
                format!("{} is {}", loan.mark, loan.status),
                "book a new loan",
            ));
        }
        if more < 1 || loan.nights.saturating_add(more) > desk.most_nights {
            return Err(StoreError::refused(
                "nights_wrong",
                format!("a loan has 1 to {} nights", desk.most_nights),
                "choose fewer",
            ));
        }
        let first = loan.first_night()?;
        let added = evenings(when::days_later(first, loan.nights), more);
        act.promised_to_others(loan.monitor, loan.id, &added).await?;
        loan.nights += more;
        loan.due_at = due_at(first, loan.nights, &desk);
        act.put(&mut loan).await?;
        act.hold_nights(&loan, &added).await?;
        act.on(format!("loan {id}"), Some(loan.person));
        act.close().await?;
        Ok(loan)
    }

    /// Hands the monitor out.
    ///
    /// # Errors
    /// Everything that stands in the way: the monitor's state, the loan's nights, what was not asked, told or packed.
    pub async fn hand_out(&self, by: &Author, id: i64, form: HandOut) -> Result<Loan> {
        clock_told(form.clock_ahead_s)?;
        let mut act = self.act(by, "loan.hand_out").await?;
        let desk = act.conn().desk_settings().await?;
        let today = when::local_date(act.at(), &desk.zone());
        let mut loan: Loan = act.get(id).await?;
        stands(&loan, LoanStatus::Booked)?;
        still_valid(&act.get::<Person>(loan.person).await?)?;
        let mut monitor: Monitor = act.get(loan.monitor).await?;
        let mut faults = hand_out_faults(&form, &desk);
        faults.extend(act.keeps_in(&monitor, &loan, &desk).await?);
        let first = loan.first_night()?;
        if today >= when::days_later(first, loan.nights) {
            faults.push(Refusal::new(
                "nights_past",
                format!("the nights of {} are over", loan.mark),
                "cancel it and book new nights",
            ));
        }
        if !faults.is_empty() {
            return Err(StoreError::Refused(faults));
        }
        // Fetched a day or more early, the monitor is away in those nights too.
        let before: Vec<Date> = evenings(today, loan.nights + 30)
            .into_iter()
            .take_while(|night| *night < first)
            .collect();
        act.promised_to_others(monitor.id, loan.id, &before).await?;
        act.hold_nights(&loan, &before).await?;
        monitor.loan = Some(loan.id);
        if monitor.status == MonitorStatus::Ready {
            act.step(&mut monitor, Move::SetAside, "set aside").await?;
        }
        act.step(&mut monitor, Move::HandOut, "handed out").await?;
        loan.status = LoanStatus::Out;
        loan.out_at = Some(act.at());
        loan.out_by = Some(by.login.clone());
        loan.out = Kept(Some(form));
        act.put(&mut loan).await?;
        act.on(format!("loan {id}"), Some(loan.person));
        act.close().await?;
        Ok(loan)
    }

    /// Takes the monitor back, also one that was given up as lost.
    ///
    /// # Errors
    /// When it is not out, or where it was handed in is missing.
    pub async fn take_back(&self, by: &Author, id: i64, form: TakeBack) -> Result<Loan> {
        clock_told(form.clock_ahead_s)?;
        let mut act = self.act(by, "loan.take_back").await?;
        let desk = act.conn().desk_settings().await?;
        let mut loan: Loan = act.get(id).await?;
        if !matches!(loan.status, LoanStatus::Out | LoanStatus::Lost) {
            return Err(StoreError::refused(
                "not_out",
                format!("{} is {}", loan.mark, loan.status),
                "look at the monitor's page: somebody may have taken it back already",
            ));
        }
        if some(&form.place).is_none() {
            return Err(StoreError::refused(
                "place_missing",
                "where it was handed in is missing",
                "choose the place",
            ));
        }
        let mut monitor: Monitor = act.get(loan.monitor).await?;
        monitor.loan = Some(loan.id);
        monitor.returned_at = Some(act.at());
        monitor.because = None;
        act.step(&mut monitor, Move::TakeBack, &format!("handed in at {}", form.place)).await?;
        let today = when::local_date(act.at(), &desk.zone());
        act.free_nights(loan.id, &today.to_string()).await?;
        act.study_waits(loan.study).await?;
        loan.status = LoanStatus::Back;
        loan.back_at = Some(act.at());
        loan.back_by = Some(by.login.clone());
        loan.back = Kept(Some(form));
        act.put(&mut loan).await?;
        act.on(format!("loan {id}"), Some(loan.person));
        act.close().await?;
        Ok(loan)
    }

    /// Gives a monitor that did not come back up as lost.
    ///
    /// # Errors
    /// When it is not out, or no reason is given.
    pub async fn give_up(&self, by: &Author, id: i64, reason: &str) -> Result<Loan> {
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "loan.give_up").await?;
        let mut loan: Loan = act.get(id).await?;
        stands(&loan, LoanStatus::Out)?;
        let mut monitor: Monitor = act.get(loan.monitor).await?;
        monitor.because = Some(reason.clone());
        act.step(&mut monitor, Move::GiveUp, &reason).await?;
        act.free_nights(loan.id, "").await?;
        loan.status = LoanStatus::Lost;
        loan.because = Some(reason.clone());
        act.because(reason);
        act.put(&mut loan).await?;
        act.study_waits(loan.study).await?;
        act.on(format!("loan {id}"), Some(loan.person));
        act.close().await?;
        Ok(loan)
    }

    /// Writes down a word with the borrower.
    ///
    /// # Errors
    /// When the monitor is not out, or the outcome is missing.
    pub async fn chase(&self, by: &Author, id: i64, how: Contact, outcome: &str) -> Result<Chase> {
        let mut act = self.act(by, "loan.chase").await?;
        let loan: Loan = act.get(id).await?;
        stands(&loan, LoanStatus::Out)?;
        let outcome = some(outcome).ok_or_else(|| {
            StoreError::refused(
                "outcome_missing",
                "what was agreed is missing",
                "write it in a few words, without findings",
            )
        })?;
        let mut row =
            Chase { id: 0, act: 0, loan: id, at: act.at(), who: by.login.clone(), how, outcome };
        act.put(&mut row).await?;
        act.on(format!("loan {id}"), Some(loan.person));
        act.close().await?;
        Ok(row)
    }
}

impl Loan {
    /// Evening of the first night as a day.
    ///
    /// # Errors
    /// When what is kept is no day.
    pub fn first_night(&self) -> Result<Date> {
        when::date(&self.first_night_on).ok_or_else(|| StoreError::Damaged {
            says: format!("{} begins on {}, which is no day", self.mark, self.first_night_on),
        })
    }
}

impl Conn {
    /// Whether a night of a study waits to be read and is not being repeated.
    async fn unread_of(&mut self, study: i64) -> Result<bool> {
        let sql = concat!(
            "SELECT COUNT(*) FROM night WHERE study = $1 AND status IN ('waiting', 'reading') AND ",
            not_repeated!()
        );
        Ok(self.number(sql, &[study.into()]).await? > 0)
    }

    /// Everything that keeps a monitor from going out on a loan at this moment. Empty: it may go.
    pub async fn keeps_in(
        &mut self,
        monitor: &Monitor,
        loan: &Loan,
        desk: &DeskSettings,
        now: i64,
    ) -> Result<Vec<Refusal>> {
        let gas = self.gas_of(monitor).await?;
        let zone = desk.zone();
        let going = Going {
            monitor,
            gas: gas.as_ref(),
            loan: Some(loan.id),
            today: when::local_date(now, &zone),
            back_on: when::local_date(loan.due_at, &zone),
        };
        Ok(keeps_in(&going, desk))
    }
}

impl Act {
    /// Books a loan as part of an act; the act is about it then.
    pub(crate) async fn book(
        &mut self,
        form: &LoanForm,
        repeats_because: Option<String>,
    ) -> Result<Loan> {
        let desk = self.conn().desk_settings().await?;
        let today = when::local_date(self.at(), &desk.zone());
        let mut study: Study = self.get(form.study).await?;
        still_valid(&self.get::<Person>(study.person).await?)?;
        may_book(form, &study, today, &desk)?;
        let monitor = self.choose_monitor(form, today).await?;
        let number = self.conn().number("SELECT COUNT(*) FROM loan", &[]).await? + 1;
        let mut loan = Loan {
            id: 0,
            act: 0,
            mark: ident::loan_mark(number),
            study: study.id,
            person: study.person,
            monitor: monitor.id,
            first_night_on: form.first_night_on.to_string(),
            nights: form.nights,
            due_at: due_at(form.first_night_on, form.nights, &desk),
            status: LoanStatus::Booked,
            booked_by: self.author().login.clone(),
            booked_at: self.at(),
            out_at: None,
            out_by: None,
            out: Kept(None),
            back_at: None,
            back_by: None,
            back: Kept(None),
            because: None,
            repeats_night: form.repeats_night,
            repeats_because,
        };
        self.put(&mut loan).await?;
        self.hold_nights(&loan, &evenings(form.first_night_on, form.nights)).await?;
        study.status = StudyStatus::OnLoan;
        self.put(&mut study).await?;
        self.on(format!("loan {}", loan.id), Some(loan.person));
        Ok(loan)
    }

    async fn keeps_in(
        &mut self,
        monitor: &Monitor,
        loan: &Loan,
        desk: &DeskSettings,
    ) -> Result<Vec<Refusal>> {
        let now = self.at();
        self.conn().keeps_in(monitor, loan, desk, now).await
    }

    /// The monitor wanted, if it can be had; or the one that rested longest.
    async fn choose_monitor(&mut self, form: &LoanForm, today: Date) -> Result<Monitor> {
        self.choose_other(form, today, 0).await
    }

    async fn choose_other(
        &mut self,
        form: &LoanForm,
        today: Date,
        other_than: i64,
    ) -> Result<Monitor> {
        let nights = evenings(form.first_night_on, form.nights);
        if let Some(wanted) = form.monitor {
            let monitor: Monitor = self.get(wanted).await?;
            let going = Going {
                monitor: &monitor,
                gas: None,
                loan: None,
                today,
                back_on: when::days_later(form.first_night_on, form.nights),
            };
            let faults = cannot_promise(&going);
            if !faults.is_empty() {
                return Err(StoreError::Refused(faults));
            }
            self.promised_to_others(wanted, 0, &nights).await?;
            return Ok(monitor);
        }
        let free = self.free_monitors(form, today).await?;
        free.into_iter().find(|monitor| monitor.id != other_than).ok_or_else(|| {
            StoreError::refused(
                "none_free",
                format!(
                    "no monitor is free for {} from {}",
                    nights_said(form.nights),
                    form.first_night_on
                ),
                "look at the calendar for the next free night",
            )
        })
    }

    /// Monitors that could be promised, the likeliest first: for tonight those that are ready, then those with
    /// the fewest nights before them, then the one that came back longest ago, so that all wear alike.
    async fn free_monitors(&mut self, form: &LoanForm, today: Date) -> Result<Vec<Monitor>> {
        let last = when::days_later(form.first_night_on, form.nights - 1);
        let late = self.at() - LATE_S;
        let mut all: Vec<Monitor> = self
            .conn()
            .find(
                "WHERE id NOT IN (SELECT monitor FROM loan_night WHERE NOT freed AND night_on >= $1 AND night_on <= $2) \
                 AND id NOT IN (SELECT monitor FROM loan WHERE status = 'out' AND due_at < $3) ORDER BY id",
                &[form.first_night_on.to_string().into(), last.to_string().into(), late.into()],
            )
            .await?;
        let to_come: Vec<LoanNight> = self
            .conn()
            .find("WHERE NOT freed AND night_on >= $1", &[today.to_string().into()])
            .await?;
        let tonight = form.first_night_on <= today;
        all.retain(|monitor| {
            let going = Going {
                monitor,
                gas: None,
                loan: None,
                today,
                back_on: when::days_later(form.first_night_on, form.nights),
            };
            let away = tonight && monitor.status == MonitorStatus::Out;
            !away && cannot_promise(&going).is_empty()
        });
        all.sort_by_key(|monitor| {
            let nights = to_come.iter().filter(|night| night.monitor == monitor.id).count();
            let unready = tonight && monitor.status != MonitorStatus::Ready;
            (unready, nights, monitor.returned_at.unwrap_or(0), monitor.id)
        });
        Ok(all)
    }

    /// Refuses when one of the nights belongs to another loan of the monitor.
    async fn promised_to_others(&mut self, monitor: i64, loan: i64, nights: &[Date]) -> Result<()> {
        for night in nights {
            let clash: Option<LoanNight> = self
                .conn()
                .first(
                    "WHERE monitor = $1 AND night_on = $2 AND NOT freed AND loan <> $3",
                    &[monitor.into(), night.to_string().into(), loan.into()],
                )
                .await?;
            if let Some(clash) = clash {
                let other: Loan = self.get(clash.loan).await?;
                let monitor: Monitor = self.get(monitor).await?;
                return Err(StoreError::refused(
                    "promised",
                    format!(
                        "{} is promised for the night of {night} to loan {}",
                        monitor.mark, other.mark
                    ),
                    "choose another monitor or another night",
                ));
            }
        }
        Ok(())
    }

    async fn hold_nights(&mut self, loan: &Loan, nights: &[Date]) -> Result<()> {
        for night in nights {
            let mut row = LoanNight {
                id: 0,
                act: 0,
                loan: loan.id,
                monitor: loan.monitor,
                night_on: night.to_string(),
                freed: false,
            };
            self.put(&mut row).await?;
        }
        Ok(())
    }

    /// Gives back the nights of a loan from a day on; all of them when the day is blank.
    async fn free_nights(&mut self, loan: i64, from: &str) -> Result<()> {
        let held: Vec<LoanNight> = self
            .conn()
            .find(
                "WHERE loan = $1 AND NOT freed AND night_on >= $2 ORDER BY id",
                &[loan.into(), from.into()],
            )
            .await?;
        for mut night in held {
            night.freed = true;
            self.put(&mut night).await?;
        }
        Ok(())
    }

    /// Takes the monitor out of the bag again, if it was packed for this loan.
    async fn unpack(&mut self, loan: &Loan, why: &str) -> Result<()> {
        let mut monitor: Monitor = self.get(loan.monitor).await?;
        if monitor.status == MonitorStatus::Booked && monitor.loan == Some(loan.id) {
            monitor.loan = None;
            self.step(&mut monitor, Move::PutBack, why).await?;
        }
        Ok(())
    }

    /// After a loan ended: its study waits for another, or for a night that is there to be read.
    async fn study_waits(&mut self, study: i64) -> Result<()> {
        let mut study: Study = self.get(study).await?;
        if study.status == StudyStatus::OnLoan {
            let unread = self.conn().unread_of(study.id).await?;
            study.status = if unread { StudyStatus::ToRead } else { StudyStatus::Waiting };
            self.put(&mut study).await?;
        }
        Ok(())
    }
}

fn may_book(form: &LoanForm, study: &Study, today: Date, desk: &DeskSettings) -> Result<()> {
    if !(1..=desk.most_nights).contains(&form.nights) {
        return Err(StoreError::refused(
            "nights_wrong",
            format!("a loan has 1 to {} nights", desk.most_nights),
            "choose fewer",
        ));
    }
    if form.first_night_on < today {
        return Err(StoreError::refused(
            "nights_past",
            format!("the night of {} is over", form.first_night_on),
            "choose tonight or later",
        ));
    }
    match study.status {
        StudyStatus::OnLoan => Err(StoreError::refused(
            "loan_open",
            "a loan of this study is booked or out already",
            "cancel it or take it back first",
        )),
        StudyStatus::Closed => {
            Err(StoreError::refused("study_closed", "this study is closed", "enter a new referral"))
        }
        StudyStatus::Waiting | StudyStatus::ToRead | StudyStatus::Reported => Ok(()),
    }
}

fn stands(loan: &Loan, where_: LoanStatus) -> Result<()> {
    if loan.status == where_ {
        return Ok(());
    }
    Err(StoreError::refused(
        "loan_elsewhere",
        format!("{} is {}, not {where_}", loan.mark, loan.status),
        "look at its page: somebody may have done it already",
    ))
}

fn due_at(first: Date, nights: i64, desk: &DeskSettings) -> i64 {
    when::local_instant(when::days_later(first, nights), desk.hand_in_by(), &desk.zone())
}

fn nights_said(nights: i64) -> String {
    if nights == 1 { "one night".to_owned() } else { format!("{nights} nights") }
}
