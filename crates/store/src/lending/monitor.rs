//! Monitors: entering them, cleaning, checking, holding, and what stands in the way of one going out.

use jiff::civil::Date;

use crate::error::Refusal;
use crate::error::Result;
use crate::error::StoreError;
use crate::ident;
use crate::lending::machine;
use crate::lending::machine::Move;
use crate::lending::plausible::implausible;
use crate::lending::setting::DeskSettings;
use crate::people::person::reason_given;
use crate::people::person::some;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::row::Kept;
use crate::record::tables::Check;
use crate::record::tables::Cleaning;
use crate::record::tables::Consumable;
use crate::record::tables::Loan;
use crate::record::tables::Monitor;
use crate::record::tables::Movement;
use crate::when;
use crate::words::CheckWhen;
use crate::words::Condition;
use crate::words::ConsumableKind;
use crate::words::MonitorStatus;

/// What a monitor's movement says when its night was given up: read again where a night turns up all the same.
pub(crate) const WITHOUT_NIGHT: &str = "to cleaning, without a night";

/// A monitor as somebody enters it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MonitorForm {
    /// The maker's serial number.
    pub serial: String,
    /// What it is, in the department's words.
    pub kind: String,
    /// What a new one costs, pence.
    pub value_pence: i64,
    /// Day of purchase, blank when not known.
    pub bought_on: String,
    /// Firmware, blank when not known.
    pub firmware: String,
    /// Day its service falls due.
    pub service_due_on: String,
    /// Day its electrical safety test falls due.
    pub electrical_due_on: String,
}

/// A lot as somebody enters it.
#[derive(Clone, Debug, PartialEq)]
pub struct ConsumableForm {
    /// What it is.
    pub kind: ConsumableKind,
    /// Lot number.
    pub lot: String,
    /// Last day it may be used; blank when it has none.
    pub expires_on: String,
    /// How many were received.
    pub received: i64,
    /// CO2 of a gas, % of dry gas.
    pub co2_percent: Option<f64>,
}

/// A check as somebody fills it in.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckForm {
    /// Before or after the loan.
    pub made: CheckWhen,
    /// Carbon dioxide the gas should give, kPa.
    pub expected_kpa: Option<f64>,
    /// Carbon dioxide the monitor showed, kPa.
    pub observed_kpa: Option<f64>,
    /// Barometric pressure, kPa.
    pub pressure_kpa: Option<f64>,
    /// The monitor's clock less the wall clock, s.
    pub clock_ahead_s: Option<i64>,
    /// Parts counted into the bag.
    pub parts: Vec<String>,
    /// What the person says: fit to go out, or not.
    pub passed: bool,
    /// A remark; needed when it did not pass.
    pub note: String,
}

/// No monitor costs more, pence: ten million pounds. Values are summed up.
const VALUE_MOST_PENCE: i64 = 1_000_000_000;

/// A number of things or of pence, from nought to the most there can be.
fn within(what: &str, number: i64, [least, most]: [i64; 2]) -> Result<i64> {
    if (least..=most).contains(&number) {
        return Ok(number);
    }
    let says = format!(
        "the number given as {what} is out of range: expected {least} to {most}, found {number}"
    );
    Err(StoreError::refused("number_wrong", says, "type it again"))
}

/// What is known of a monitor that is about to go out, or is to be promised.
#[derive(Clone, Debug)]
pub struct Going<'a> {
    /// The monitor.
    pub monitor: &'a Monitor,
    /// The cylinder it is checked with.
    pub gas: Option<&'a Consumable>,
    /// The loan it would go out on; `None` before there is one.
    pub loan: Option<i64>,
    /// The local day.
    pub today: Date,
    /// The local day it must be back.
    pub back_on: Date,
}

/// Everything that stands in the way of a monitor going out today. Empty: it may go.
pub fn keeps_in(going: &Going<'_>, desk: &DeskSettings) -> Vec<Refusal> {
    let monitor = going.monitor;
    let mut all = stands_in_the_way(going);
    let mark = &monitor.mark;
    if monitor.cleaned_at.is_none() || monitor.cleaned_at < monitor.returned_at {
        all.push(Refusal::new(
            "not_clean",
            format!("{mark} has not been cleaned since it came back"),
            "clean it and record the cleaning",
        ));
    }
    if monitor.checked_at.is_none() || monitor.checked_at < monitor.cleaned_at {
        all.push(Refusal::new(
            "not_checked",
            format!("{mark} has not passed a check since it was cleaned"),
            "check it with the gas and record the check",
        ));
    }
    all.extend(falls_due(going));
    let membrane_until = monitor
        .membrane_on
        .as_deref()
        .and_then(when::date)
        .map(|on| when::days_later(on, desk.membrane_days));
    if membrane_until.is_none_or(|until| until < going.back_on) {
        let says = membrane_until.map_or_else(
            || format!("no membrane change of {mark} is recorded"),
            |until| {
                format!("the membrane of {mark} may be used until {until}, before it is due back")
            },
        );
        all.push(Refusal::new("membrane_expired", says, "change the membrane and record it"));
    }
    all.extend(gas_unfit(monitor, going.gas, going.today));
    all
}

/// What stands in the way of promising a monitor for nights to come: what cleaning and checking cannot mend.
pub fn cannot_promise(going: &Going<'_>) -> Vec<Refusal> {
    let monitor = going.monitor;
    let mut all = Vec::new();
    if matches!(
        monitor.status,
        MonitorStatus::Held
            | MonitorStatus::InRepair
            | MonitorStatus::Lost
            | MonitorStatus::Retired
    ) {
        all.push(Refusal::new(
            "not_ready",
            format!("{} is {}", monitor.mark, monitor.status),
            "choose another monitor",
        ));
    }
    all.extend(falls_due(going));
    all
}

fn stands_in_the_way(going: &Going<'_>) -> Vec<Refusal> {
    let monitor = going.monitor;
    match monitor.status {
        MonitorStatus::Ready => Vec::new(),
        MonitorStatus::Booked if monitor.loan == going.loan => Vec::new(),
        MonitorStatus::Booked => vec![Refusal::new(
            "promised",
            format!("{} is set aside for another loan", monitor.mark),
            "choose another monitor",
        )],
        status => {
            let because =
                monitor.because.as_deref().map_or(String::new(), |because| format!(": {because}"));
            let hint = match status {
                MonitorStatus::Out => "take it back first, or choose another monitor",
                MonitorStatus::Back | MonitorStatus::ToClean | MonitorStatus::ToCheck => {
                    "finish its cleaning and check, or choose another monitor"
                }
                _ => "choose another monitor",
            };
            vec![Refusal::new("not_ready", format!("{} is {status}{because}", monitor.mark), hint)]
        }
    }
}

/// Service and electrical test must reach past the day it comes back.
fn falls_due(going: &Going<'_>) -> Vec<Refusal> {
    let mark = &going.monitor.mark;
    let dues = [
        ("service_overdue", "service", &going.monitor.service_due_on),
        ("electrical_overdue", "electrical safety test", &going.monitor.electrical_due_on),
    ];
    dues.into_iter()
        .filter_map(|(code, what, due)| match due.as_deref().and_then(when::date) {
            Some(due) if due >= going.back_on => None,
            Some(due) => Some(Refusal::new(
                code,
                format!("the {what} of {mark} falls due on {due}, before it is due back"),
                format!("have its {what} done and record the next day"),
            )),
            None => Some(Refusal::new(
                code,
                format!("no day is recorded on which the {what} of {mark} falls due"),
                "record it",
            )),
        })
        .collect()
}

fn gas_unfit(monitor: &Monitor, gas: Option<&Consumable>, today: Date) -> Option<Refusal> {
    let hint = "connect another cylinder and record it";
    let Some(gas) = gas else {
        return Some(Refusal::new(
            "gas_expired",
            format!("no calibration gas is recorded for {}", monitor.mark),
            hint,
        ));
    };
    let until = gas.expires_on.as_deref().and_then(when::date);
    if gas.closed_at.is_some() {
        return Some(Refusal::new(
            "gas_expired",
            format!("the calibration gas {} is used up", gas.lot),
            hint,
        ));
    }
    until.filter(|until| *until < today).map(|until| {
        Refusal::new(
            "gas_expired",
            format!("the calibration gas {} expired on {until}", gas.lot),
            hint,
        )
    })
}

/// What a check finds wrong. Empty: it may pass.
pub fn check_faults(
    form: &CheckForm,
    monitor: &Monitor,
    gas: Option<&Consumable>,
    today: Date,
    desk: &DeskSettings,
) -> Vec<Refusal> {
    let mut all: Vec<Refusal> = gas_unfit(monitor, gas, today).into_iter().collect();
    match (form.expected_kpa, form.observed_kpa) {
        (Some(expected), Some(observed)) if (expected - observed).abs() > desk.gas_limit_kpa => all
            .push(Refusal::new(
                "gas_off",
                format!(
                    "the gas check is {:.2} kPa off, at most {:.2} kPa is allowed",
                    (expected - observed).abs(),
                    desk.gas_limit_kpa
                ),
                "repeat it; if it stays off, change the membrane or hold the monitor",
            )),
        (Some(_), Some(_)) => {}
        _ => all.push(Refusal::new(
            "gas_not_checked",
            "the gas check is missing",
            "give what the gas should read and what the monitor showed",
        )),
    }
    match form.clock_ahead_s {
        Some(ahead) if ahead.unsigned_abs() > desk.clock_limit_s.unsigned_abs() => {
            all.push(Refusal::new(
                "clock_wrong",
                format!(
                    "the monitor's clock is {ahead} s off, at most {} s is allowed",
                    desk.clock_limit_s
                ),
                "set its clock and compare it again",
            ));
        }
        Some(_) => {}
        None => all.push(Refusal::new(
            "clock_not_compared",
            "the monitor's clock was not compared",
            "give the difference, 0 when it agrees",
        )),
    }
    let missing = missing_parts(&desk.parts, &form.parts);
    if !missing.is_empty() {
        all.push(Refusal::new(
            "parts_missing",
            format!("missing from the bag: {}", missing.join(", ")),
            "put them in",
        ));
    }
    all
}

/// The parts that belong in the bag and are not there.
pub fn missing_parts(belong: &[String], there: &[String]) -> Vec<String> {
    belong.iter().filter(|part| !there.contains(part)).cloned().collect()
}

impl Conn {
    /// The cylinder a monitor is checked with.
    pub(crate) async fn gas_of(&mut self, monitor: &Monitor) -> Result<Option<Consumable>> {
        match monitor.gas {
            Some(id) => self.get(id).await.map(Some),
            None => Ok(None),
        }
    }
}

impl Act {
    /// Makes one move of a monitor, writes it and its movement.
    ///
    /// # Errors
    /// When the move cannot be made from where the monitor stands.
    pub(crate) async fn step(
        &mut self,
        monitor: &mut Monitor,
        step: Move,
        what: &str,
    ) -> Result<()> {
        let before = monitor.status;
        let Some(after) = machine::after(before, step) else {
            return Err(StoreError::refused(
                "move_impossible",
                format!("{} is {before}; that cannot be done with it now", monitor.mark),
                "look at its page: somebody may have done it already",
            ));
        };
        monitor.status = after;
        self.put(monitor).await?;
        let mut movement = Movement {
            id: 0,
            act: 0,
            monitor: monitor.id,
            at: self.at(),
            who: self.author().login.clone(),
            before,
            after,
            loan: monitor.loan,
            what: what.to_owned(),
        };
        self.put(&mut movement).await
    }
}

impl Store {
    /// Enters a monitor. It begins with being cleaned and checked.
    ///
    /// # Errors
    /// When the serial number is missing or known already, or a day is none.
    pub async fn add_monitor(&self, by: &Author, form: MonitorForm) -> Result<Monitor> {
        let mut act = self.act(by, "monitor.add").await?;
        let serial = some(&form.serial).ok_or_else(|| {
            StoreError::refused(
                "serial_missing",
                "the serial number is missing",
                "read it off the monitor",
            )
        })?;
        if act
            .conn()
            .first::<Monitor>("WHERE serial = $1", &[serial.as_str().into()])
            .await?
            .is_some()
        {
            return Err(StoreError::refused(
                "serial_taken",
                format!("a monitor with serial number {serial} is in the record already"),
                "look for it under monitors",
            ));
        }
        let number = act.conn().number("SELECT COUNT(*) FROM monitor", &[]).await? + 1;
        let mut row = Monitor {
            id: 0,
            act: 0,
            mark: ident::monitor_mark(number),
            serial,
            kind: some(&form.kind).unwrap_or_else(|| "monitor".to_owned()),
            value_pence: within("value", form.value_pence, [0, VALUE_MOST_PENCE])?,
            bought_on: day(&form.bought_on)?,
            in_use_since_on: None,
            firmware: some(&form.firmware),
            service_due_on: day(&form.service_due_on)?,
            electrical_due_on: day(&form.electrical_due_on)?,
            membrane_on: None,
            gas: None,
            status: MonitorStatus::ToClean,
            because: None,
            loan: None,
            returned_at: None,
            cleaned_at: None,
            checked_at: None,
        };
        act.put(&mut row).await?;
        let mut movement = Movement {
            id: 0,
            act: 0,
            monitor: row.id,
            at: act.at(),
            who: by.login.clone(),
            before: row.status,
            after: row.status,
            loan: None,
            what: "entered".to_owned(),
        };
        act.put(&mut movement).await?;
        act.close().await?;
        Ok(row)
    }

    /// Enters a lot.
    ///
    /// # Errors
    /// When the lot number is missing or the day is none.
    pub async fn add_consumable(&self, by: &Author, form: ConsumableForm) -> Result<Consumable> {
        let mut act = self.act(by, "consumable.add").await?;
        let lot = some(&form.lot).ok_or_else(|| {
            StoreError::refused("lot_missing", "the lot number is missing", "read it off the pack")
        })?;
        if let Some(percent) =
            form.co2_percent.filter(|percent| !(*percent > 0.0 && *percent <= 100.0))
        {
            let says = format!(
                "{percent} % CO2 is no gas to check with: expected more than 0 and at most 100 %"
            );
            return Err(StoreError::refused("co2_wrong", says, "read it off the cylinder"));
        }
        let mut row = Consumable {
            id: 0,
            act: 0,
            kind: form.kind,
            lot,
            expires_on: day(&form.expires_on)?,
            received: within("received", form.received, [1, 1_000_000])?,
            co2_percent: form.co2_percent,
            closed_at: None,
        };
        act.put(&mut row).await?;
        act.close().await?;
        Ok(row)
    }

    /// Records that a lot is used up.
    ///
    /// # Errors
    /// When there is no such lot.
    pub async fn close_consumable(&self, by: &Author, id: i64) -> Result<Consumable> {
        let mut act = self.act(by, "consumable.close").await?;
        let mut row: Consumable = act.get(id).await?;
        row.closed_at = Some(act.at());
        act.put(&mut row).await?;
        act.close().await?;
        Ok(row)
    }

    /// Records service and electrical test: the days they next fall due, blank to leave one as it is.
    ///
    /// # Errors
    /// When a day is none.
    pub async fn serviced(
        &self,
        by: &Author,
        id: i64,
        service_due_on: &str,
        electrical_due_on: &str,
    ) -> Result<Monitor> {
        let mut act = self.act(by, "monitor.serviced").await?;
        let mut row: Monitor = act.get(id).await?;
        row.service_due_on = day(service_due_on)?.or(row.service_due_on);
        row.electrical_due_on = day(electrical_due_on)?.or(row.electrical_due_on);
        act.put(&mut row).await?;
        act.close().await?;
        Ok(row)
    }

    /// Records a new membrane, of a lot when one is kept, changed today. The monitor must be checked again.
    ///
    /// # Errors
    /// When the monitor is with a patient, or the lot is no membrane or has expired.
    pub async fn change_membrane(&self, by: &Author, id: i64, lot: Option<i64>) -> Result<Monitor> {
        let mut act = self.act(by, "monitor.membrane").await?;
        let desk = act.conn().desk_settings().await?;
        let mut row: Monitor = act.get(id).await?;
        if row.status == MonitorStatus::Out {
            return Err(StoreError::refused(
                "not_here",
                format!("{} is out", row.mark),
                "take it back first",
            ));
        }
        let today = when::local_date(act.at(), &desk.zone());
        if let Some(lot) = lot {
            fit(&act.get::<Consumable>(lot).await?, ConsumableKind::Membrane, today)?;
        }
        row.membrane_on = Some(today.to_string());
        act.note(serde_json::json!({ "lot": lot }));
        // A new membrane moves the sensor's reading.
        row.checked_at = None;
        act.put(&mut row).await?;
        act.close().await?;
        Ok(row)
    }

    /// Records the cylinder a monitor is checked with.
    ///
    /// # Errors
    /// When the lot is no gas, is used up or has expired.
    pub async fn connect_gas(&self, by: &Author, id: i64, lot: i64) -> Result<Monitor> {
        let mut act = self.act(by, "monitor.gas").await?;
        let desk = act.conn().desk_settings().await?;
        let today = when::local_date(act.at(), &desk.zone());
        fit(&act.get::<Consumable>(lot).await?, ConsumableKind::Gas, today)?;
        let mut row: Monitor = act.get(id).await?;
        row.gas = Some(lot);
        act.put(&mut row).await?;
        act.close().await?;
        Ok(row)
    }

    /// Sends a returned monitor on to cleaning. Its night must be in the record, or the reason why it is not.
    ///
    /// # Errors
    /// When neither is so.
    pub async fn to_cleaning(&self, by: &Author, id: i64, without_night: &str) -> Result<Monitor> {
        let mut act = self.act(by, "monitor.to_cleaning").await?;
        let mut row: Monitor = act.get(id).await?;
        let nights = act
            .conn()
            .number(
                "SELECT COUNT(*) FROM night WHERE loan = $1 AND status <> 'set_aside'",
                &[row.loan.unwrap_or(0).into()],
            )
            .await?;
        if nights == 0 && some(without_night).is_none() {
            return Err(StoreError::refused(
                "night_not_in",
                format!("the night is not off {} yet, and cleaning wipes it", row.mark),
                "download the night first, or say why there is none",
            ));
        }
        if let Some(reason) = some(without_night) {
            act.because(reason);
        }
        let what = match some(without_night).filter(|_| nights == 0) {
            Some(reason) => format!("{WITHOUT_NIGHT}: {reason}"),
            None => "to cleaning".to_owned(),
        };
        act.step(&mut row, Move::ToCleaning, &what).await?;
        act.close().await?;
        Ok(row)
    }

    /// Records a cleaning. A monitor that came back damaged is held after it.
    ///
    /// # Errors
    /// When the patient's data are still on it, or it does not wait for cleaning.
    pub async fn clean(&self, by: &Author, id: i64, method: &str, wiped: bool) -> Result<Monitor> {
        let mut act = self.act(by, "monitor.clean").await?;
        let mut row: Monitor = act.get(id).await?;
        if !wiped {
            return Err(StoreError::refused(
                "not_wiped",
                format!("the last patient's data are still on {}", row.mark),
                "wipe its memory and say so",
            ));
        }
        let method = some(method).ok_or_else(|| {
            StoreError::refused(
                "method_missing",
                "how it was cleaned is missing",
                "choose the department's procedure",
            )
        })?;
        let mut cleaning = Cleaning {
            id: 0,
            act: 0,
            monitor: row.id,
            loan: row.loan,
            at: act.at(),
            who: by.login.clone(),
            method: method.clone(),
            wiped,
        };
        act.put(&mut cleaning).await?;
        row.cleaned_at = Some(act.at());
        act.step(&mut row, Move::Clean, &method).await?;
        let damaged = match row.loan {
            Some(loan) => act
                .get::<Loan>(loan)
                .await?
                .back
                .0
                .is_some_and(|back| back.condition == Condition::Damaged),
            None => false,
        };
        if damaged {
            row.because = Some("came back damaged or suspect".to_owned());
            act.step(&mut row, Move::Hold, "came back damaged or suspect").await?;
        }
        act.close().await?;
        Ok(row)
    }

    /// Records a check. Passed, the monitor is ready; not passed, it is held.
    ///
    /// # Errors
    /// When the person says it passed and something is wrong: everything that is.
    pub async fn check(&self, by: &Author, id: i64, form: CheckForm) -> Result<Monitor> {
        let mut act = self.act(by, "monitor.check").await?;
        let desk = act.conn().desk_settings().await?;
        let mut row: Monitor = act.get(id).await?;
        let gas = act.conn().gas_of(&row).await?;
        let faults = check_faults(
            &form,
            &row,
            gas.as_ref(),
            when::local_date(act.at(), &desk.zone()),
            &desk,
        );
        let typed = implausible(&form, &desk);
        if !typed.is_empty() {
            return Err(StoreError::Refused(typed));
        }
        if form.passed && !faults.is_empty() {
            return Err(StoreError::Refused(faults));
        }
        let mut check = Check {
            id: 0,
            act: 0,
            monitor: row.id,
            loan: row.loan,
            at: act.at(),
            who: by.login.clone(),
            made: form.made,
            gas: row.gas,
            expected_kpa: form.expected_kpa,
            observed_kpa: form.observed_kpa,
            pressure_kpa: form.pressure_kpa,
            clock_ahead_s: form.clock_ahead_s,
            missing: Kept(missing_parts(&desk.parts, &form.parts)),
            parts: Kept(form.parts),
            passed: form.passed,
            note: some(&form.note),
            voided_at: None,
            voided_by: None,
            voided_because: None,
        };
        act.put(&mut check).await?;
        settle_check(&mut act, &mut row, &check).await?;
        act.close().await?;
        Ok(row)
    }

    /// Holds, releases, sends away, takes back from repair, gives up, finds or retires a monitor, with a reason.
    ///
    /// # Errors
    /// When the move cannot be made, belongs to a loan, or the monitor is promised.
    pub async fn move_monitor(
        &self,
        by: &Author,
        id: i64,
        step: Move,
        reason: &str,
    ) -> Result<Monitor> {
        let reason = reason_given(reason)?;
        let verb = match step {
            Move::Hold => "monitor.hold",
            Move::Release => "monitor.release",
            Move::SendAway => "monitor.send_away",
            Move::ComeBack => "monitor.come_back",
            Move::GiveUp => "monitor.give_up",
            Move::Find => "monitor.find",
            Move::Retire => "monitor.retire",
            _ => {
                return Err(StoreError::refused(
                    "move_impossible",
                    "this is done through its loan, its cleaning or its check",
                    "use that page",
                ));
            }
        };
        let mut act = self.act(by, verb).await?;
        let mut row: Monitor = act.get(id).await?;
        if step == Move::GiveUp && row.status == MonitorStatus::Out {
            return Err(StoreError::refused(
                "move_impossible",
                format!("{} is out on a loan", row.mark),
                "give it up through its loan",
            ));
        }
        let promised = act
            .conn()
            .number(
                "SELECT COUNT(*) FROM loan WHERE monitor = $1 AND status = 'booked'",
                &[id.into()],
            )
            .await?;
        if step == Move::Retire && promised > 0 {
            return Err(StoreError::refused(
                "promised",
                format!("{} is promised for {promised} more loans", row.mark),
                "give them other monitors first",
            ));
        }
        if row.status == MonitorStatus::Booked {
            row.loan = None;
        }
        row.because =
            (!matches!(step, Move::Release | Move::ComeBack | Move::Find)).then(|| reason.clone());
        act.because(reason.clone());
        act.step(&mut row, step, &reason).await?;
        act.close().await?;
        Ok(row)
    }
}

/// A check moves a monitor that waits for it; one made before a loan only holds it when it fails.
async fn settle_check(act: &mut Act, row: &mut Monitor, check: &Check) -> Result<()> {
    let waits = row.status == MonitorStatus::ToCheck;
    if check.passed {
        row.checked_at = Some(act.at());
        if row.in_use_since_on.is_none() {
            row.in_use_since_on = Some(when::rfc3339(act.at())[..10].to_owned());
        }
        return if waits {
            act.step(row, Move::Pass, "passed its check").await?;
            // Only now is the loan behind it: its gas check belongs to the night.
            row.loan = None;
            act.put(row).await
        } else {
            act.put(row).await
        };
    }
    let note = reason_given(check.note.as_deref().unwrap_or_default())?;
    row.because = Some(note.clone());
    if row.status == MonitorStatus::Booked {
        row.loan = None;
    }
    act.step(row, if waits { Move::Fail } else { Move::Hold }, &note).await
}

fn fit(lot: &Consumable, kind: ConsumableKind, today: Date) -> Result<()> {
    let wrong = if lot.kind != kind {
        format!("the lot {} is {}, not {kind}", lot.lot, lot.kind)
    } else if lot.closed_at.is_some() {
        format!("the lot {} is used up", lot.lot)
    } else if lot.expires_on.as_deref().and_then(when::date).is_some_and(|until| until < today) {
        format!("the lot {} has expired", lot.lot)
    } else {
        return Ok(());
    };
    Err(StoreError::refused("lot_unfit", wrong, "take another lot"))
}

/// A day as it was typed; blank is none.
pub(crate) fn day(text: &str) -> Result<Option<String>> {
    let Some(text) = some(text) else { return Ok(None) };
    match when::date(&text) {
        Some(day) => Ok(Some(day.to_string())),
        None => Err(StoreError::refused(
            "day_wrong",
            format!("{text} is no day"),
            "write it as 2026-11-25",
        )),
    }
}
