//! The invented department alive: twelve monitors, months of loans in every state, nights that wait.
//!
//! Everything is done by the record's own acts, under a clock that walks from months ago to this
//! morning, so the demo holds nothing the desk could not have done.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use engine::print::Heading;
use engine::report::Report;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use store::error::Result;
use store::intake::receive::Incoming;
use store::lending::loan::LoanForm;
use store::lending::machine::Move;
use store::lending::monitor::{CheckForm, ConsumableForm, MonitorForm};
use store::lending::setting::{DESK, DeskSettings};
use store::people::person::{PersonForm, ReferralForm};
use store::record::act::Author;
use store::record::db::Store;
use store::record::tables::{HandOut, Loan, Monitor, Study, TakeBack};
use store::when;
use store::words::{CheckWhen, Condition, ConsumableKind, Contact, Role, Skin, Urgency};

use crate::department::{GUESTS, Guest, HOSPITAL};

/// How many days before the demo's day the record begins.
const BEGINS_DAYS_AGO: i64 = 112;

/// What the cylinder should give, kPa.
pub(crate) const GAS_KPA: f64 = 5.07;

/// The guest, and the monitor, of two nights in a row, and who plays the first of them.
const SPLIT: usize = 4;
const WITHOUT: &str = "high_all_night";

/// Invented names for the weeks before.
const FAMILIES: [&str; 16] = [
    "Drowsewell",
    "Slumberby",
    "Pillowright",
    "Eiderdown",
    "Moonlatch",
    "Candlewick",
    "Dimmock",
    "Nodley",
    "Duskworth",
    "Yawnwood",
    "Hushaby",
    "Settle",
    "Blinker",
    "Dreamhurst",
    "Softly",
    "Sandman",
];
const GIVEN: [&str; 8] = ["Ada", "Bert", "Cleo", "Dov", "Edda", "Finn", "Greta", "Hal"];

/// The clock of the demo while its past is made.
type DemoClock = Arc<AtomicI64>;

/// Makes the paper of a signed report.
type Print = dyn Fn(Report, Heading) -> Vec<u8> + Send + Sync;

/// Makes the department's past up to twenty to ten on the day given.
pub struct Past<'a> {
    /// The record.
    pub(crate) store: &'a Store,
    /// Its clock.
    pub(crate) clock: DemoClock,
    /// The day of the demo.
    pub(crate) today: Date,
    pub(crate) zone: TimeZone,
    /// Files that are still on monitors: name and bytes.
    pub files: Vec<(String, Vec<u8>)>,
    pub(crate) print: &'a Print,
    people: usize,
    pub(crate) marks: Vec<Monitor>,
    /// A loan of two nights: the first without the ventilator, the second with it.
    split: Option<Loan>,
}

/// Somebody of the desk.
pub(crate) fn clerk() -> Author {
    by("pillow", "Petra Pillow", Role::Desk)
}

pub(crate) fn by(login: &str, name: &str, role: Role) -> Author {
    Author { login: login.to_owned(), name: name.to_owned(), role, station: "demo".to_owned() }
}

impl std::fmt::Debug for Past<'_> {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        to.debug_struct("Past").field("today", &self.today).finish_non_exhaustive()
    }
}

impl<'a> Past<'a> {
    /// A record that is still empty, the clock it was opened with, the day, and what makes a report's paper.
    pub fn new(store: &'a Store, clock: DemoClock, today: Date, print: &'a Print) -> Self {
        let zone = desk_settings().zone();
        let (files, marks) = (Vec::new(), Vec::new());
        Self { store, clock, today, zone, files, print, people: 0, marks, split: None }
    }

    /// Sets the clock to where the past begins.
    pub fn begin(&self) {
        self.at(-BEGINS_DAYS_AGO, 8, 0);
    }

    /// Everything that happened until this morning.
    ///
    /// # Errors
    /// When the record refuses an act or breaks off: the demo does nothing the desk could not do.
    pub async fn make(&mut self) -> Result<()> {
        self.begin();
        let settings = serde_json::to_string_pretty(&desk_settings()).unwrap_or_default();
        self.store.put_setting(&clerk(), DESK, &settings).await?;
        self.monitors().await?;
        Box::pin(self.history()).await?;
        self.seconds().await?;
        self.membranes(-8).await?;
        let gone = self.troubles().await?;
        Box::pin(self.last_nights()).await?;
        self.given_up(&gone).await?;
        self.last_evening().await?;
        self.coming().await
    }

    /// Sets the clock to a time of a day counted from the demo's; it never goes back.
    pub(crate) fn at(&self, days: i64, hour: i8, minute: i8) {
        let day = when::days_later(self.today, days);
        let at = when::local_instant(day, jiff::civil::time(hour, minute, 0, 0), &self.zone);
        self.clock.fetch_max(at, Ordering::SeqCst);
    }

    async fn monitors(&mut self) -> Result<()> {
        let day = |days| when::days_later(self.today, days).to_string();
        let gas = self.lot(ConsumableKind::Gas, "CG-2207", &day(200), Some(5.0)).await?;
        self.lot(ConsumableKind::Gas, "CG-1981", &day(12), Some(5.0)).await?;
        self.lot(ConsumableKind::Membrane, "MB-0417", &day(150), None).await?;
        self.lot(ConsumableKind::Gel, "GL-88", &day(20), None).await?;
        for n in 1..=12 {
            let form = MonitorForm {
                serial: format!("LMK{:05}", 30_410 + n * 37),
                kind: "ear sensor monitor".to_owned(),
                value_pence: 680_000 + n * 2_500,
                bought_on: day(-900 + n * 40),
                firmware: "4.1".to_owned(),
                service_due_on: day(40 + n * 23),
                electrical_due_on: day(60 + n * 17),
            };
            let monitor = self.store.add_monitor(&clerk(), form).await?;
            self.store.connect_gas(&clerk(), monitor.id, gas).await?;
            self.store.change_membrane(&clerk(), monitor.id, None).await?;
            let monitor = self.clean_and_check(monitor.id, n).await?;
            self.marks.push(monitor);
        }
        Ok(())
    }

    async fn lot(
        &self,
        kind: ConsumableKind,
        lot: &str,
        until: &str,
        co2: Option<f64>,
    ) -> Result<i64> {
        let form = ConsumableForm {
            kind,
            lot: lot.to_owned(),
            expires_on: until.to_owned(),
            received: 2,
            co2_percent: co2,
        };
        self.store.add_consumable(&clerk(), form).await.map(|row| row.id)
    }

    async fn membranes(&mut self, days: i64) -> Result<()> {
        self.at(days, 17, 0);
        for monitor in self.marks.clone().iter().take(9) {
            self.store.change_membrane(&clerk(), monitor.id, None).await?;
            self.store.check(&clerk(), monitor.id, check(monitor.id)).await?;
        }
        Ok(())
    }

    /// One monitor each that is lost, away, held, and late by more and by less.
    async fn troubles(&mut self) -> Result<Loan> {
        let id = |n: usize| self.marks[n].id;
        let (away, late, later, lost) = (id(9), id(7), id(8), id(11));
        let study = self.somebody(-6).await?;
        self.store.change_membrane(&clerk(), lost, None).await?;
        self.store.check(&clerk(), lost, check(lost)).await?;
        let gone = self.lend(&study, -6, 1, Some(lost)).await?;
        let study = self.somebody(-5).await?;
        self.lend(&study, -5, 1, Some(later)).await?;
        self.at(-3, 9, 0);
        self.store.move_monitor(&clerk(), away, Move::SendAway, "yearly service").await?;
        self.store
            .chase(&clerk(), gone.id, Contact::Telephone, "left on a train; has asked the railway")
            .await?;
        let study = self.referred_guest(&GUESTS[SPLIT], -3).await?;
        self.split = Some(self.lend(&study, -3, 2, Some(self.marks[SPLIT].id)).await?);
        let study = self.somebody(-2).await?;
        self.lend(&study, -2, 1, Some(late)).await?;
        Ok(gone)
    }

    /// One monitor is given up as lost, another held.
    async fn given_up(&self, gone: &Loan) -> Result<()> {
        self.at(-1, 11, 0);
        self.store.give_up(&clerk(), gone.id, "left on a train and not found").await?;
        let notice = "maker's safety notice: batteries of this year";
        self.store.move_monitor(&clerk(), self.marks[10].id, Move::Hold, notice).await?;
        Ok(())
    }

    /// The nights of the guests: five read off their monitors, two still on them, two on their way.
    async fn last_nights(&mut self) -> Result<()> {
        let mut loans = Vec::new();
        for (n, guest) in [(2, 2), (3, 3), (5, 7)] {
            let loan = self.guest(&GUESTS[guest], -2, self.marks[n].id).await?;
            loans.push((loan, &GUESTS[guest]));
        }
        loans.extend(self.split.take().map(|loan| (loan, &GUESTS[SPLIT])));
        self.at(-1, 9, 0);
        for (loan, guest) in loans {
            self.take_back(&loan, Skin::Clear, "desk, level 2").await?;
            if loan.nights > 1 {
                self.night_in(&loan, &Guest { sleeper: WITHOUT, ..*guest }, 0).await?;
            }
            self.night_in(&loan, guest, loan.nights - 1).await?;
            self.store.to_cleaning(&clerk(), loan.monitor, "").await?;
            self.clean_and_check(loan.monitor, guest.seed.cast_signed()).await?;
        }
        Ok(())
    }

    /// Last evening's loans and what came back this morning.
    async fn last_evening(&mut self) -> Result<()> {
        let mut loans = Vec::new();
        for (n, guest) in [(0, 0), (1, 1), (2, 5), (3, 6)] {
            loans.push(self.guest(&GUESTS[guest], -1, self.marks[n].id).await?);
        }
        for n in [4, 5] {
            let study = self.somebody(-1).await?;
            loans.push(self.lend(&study, -1, 1, Some(self.marks[n].id)).await?);
        }
        self.at(0, 8, 40);
        self.take_back(&loans[0], Skin::Clear, "desk, level 2").await?;
        self.take_back(&loans[1], Skin::Red, "desk, level 2").await?;
        self.at(0, 8, 55);
        self.take_back(&loans[4], Skin::Sore, "main reception").await?;
        self.take_back(&loans[5], Skin::Clear, "desk, level 2").await?;
        let off = "nothing recorded: switched off at once, the ear hurt";
        self.store.to_cleaning(&clerk(), loans[4].monitor, off).await?;
        let flat = "nothing recorded: the battery was flat";
        self.store.to_cleaning(&clerk(), loans[5].monitor, flat).await?;
        self.store.clean(&clerk(), loans[5].monitor, &desk_settings().cleaning[0], true).await?;
        for (loan, guest) in loans.iter().zip([0, 1, 5, 6]) {
            self.on_the_monitor(loan, &GUESTS[guest]);
        }
        Ok(())
    }

    /// Tonight's loans and those of the next two weeks.
    async fn coming(&mut self) -> Result<()> {
        self.at(0, 9, 20);
        let quilton = self.referred_guest(&GUESTS[8], 0).await?;
        self.book(&quilton, 0, 1, None).await?;
        for days in [0, 1, 1, 2, 2, 3, 5, 6, 6, 7, 9, 12] {
            let study = self.somebody(0).await?;
            self.book(&study, days, 1 + days % 2, None).await?;
        }
        for _ in 0..3 {
            self.somebody(0).await?;
        }
        self.at(0, 9, 40);
        Ok(())
    }

    /// A guest's night, so many after the loan's first, as the file its monitor gives, and the notes that came
    /// with it.
    fn made(
        &self,
        loan: &Loan,
        guest: &Guest,
        later: i64,
    ) -> Option<(Incoming, String, &'static str)> {
        let named = simulate::sleeper_named(guest.sleeper)?;
        let mut sleeper = named.sleeper.clone();
        let evening = when::days_later(loan.first_night().ok()?, later);
        sleeper.start = evening.to_datetime(sleeper.start.time());
        let made = simulate::night(&sleeper, &named.sensor, guest.seed);
        let serial = &self.marks.iter().find(|one| one.id == loan.monitor)?.serial;
        let file = Incoming {
            name: format!("{serial}-{evening}.csv"),
            bytes: simulate::write::text(&made.recording).into_bytes(),
            taken_off: Some(loan.monitor),
            ..Incoming::default()
        };
        Some((file, made.notes_toml, named.criteria))
    }

    /// Takes a night off its monitor and enters what the patient wrote.
    async fn night_in(&self, loan: &Loan, guest: &Guest, later: i64) -> Result<()> {
        let Some((file, notes, criteria)) = self.made(loan, guest, later) else { return Ok(()) };
        let received = self.store.receive(&clerk(), file).await?;
        let reader = by("thistle", "Ansel Thistlewood", Role::Physiologist);
        for night in &received.nights {
            let why = "marks from the diary on paper";
            self.store.rescore(&reader, night.id, &notes, criteria, why).await?;
        }
        Ok(())
    }

    /// Lays a night into the folder from which it can be taken, as if it were on its monitor.
    fn on_the_monitor(&mut self, loan: &Loan, guest: &Guest) {
        if let Some((file, _, _)) = self.made(loan, guest, 0) {
            self.files.push((file.name, file.bytes));
        }
    }

    /// A patient of the months before.
    pub(crate) fn of_old(&mut self) -> PersonForm {
        let n = self.people;
        PersonForm {
            family: FAMILIES[n % FAMILIES.len()].to_owned(),
            given: GIVEN[(n / FAMILIES.len() + n) % GIVEN.len()].to_owned(),
            born_on: format!("{}-{:02}-{:02}", 1944 + n * 7 % 55, 1 + n % 12, 1 + n * 5 % 28),
            ..self.person()
        }
    }

    /// A patient of the weeks before, with a study.
    async fn somebody(&mut self, days: i64) -> Result<Study> {
        let person = self.of_old();
        self.referred(person, "Tired by day", "night_gas_exchange", "adult-air", days).await
    }

    /// Lends a monitor to one of the guests whose nights the simulator makes.
    async fn guest(&mut self, guest: &Guest, days: i64, monitor: i64) -> Result<Loan> {
        let study = self.referred_guest(guest, days).await?;
        self.lend(&study, days, 1, Some(monitor)).await
    }

    async fn referred_guest(&mut self, guest: &Guest, days: i64) -> Result<Study> {
        let (family, given) = guest.person.split_once(", ").unwrap_or((guest.person, ""));
        let person = PersonForm {
            family: format!("{}{}", &family[..1], family[1..].to_lowercase()),
            given: given.to_owned(),
            born_on: guest.born_on.to_owned(),
            ..self.person()
        };
        let (criteria, question) = simulate::sleeper_named(guest.sleeper)
            .map_or(("adult-air", "night_gas_exchange"), |named| (named.criteria, named.question));
        self.referred(person, guest.reason, question, criteria, days).await
    }

    fn person(&mut self) -> PersonForm {
        self.people += 1;
        let n = self.people;
        PersonForm {
            mrn: format!("LMK{:06}", 204_100 + n * 13),
            telephone: format!("01632 960{:03}", n % 1000),
            address: format!("{n} Lullaby Lane\nLarkmoor"),
            ..PersonForm::default()
        }
    }

    async fn referred(
        &mut self,
        person: PersonForm,
        words: &str,
        question: &str,
        criteria: &str,
        days: i64,
    ) -> Result<Study> {
        let person = self.store.add_person(&clerk(), &person).await?;
        let referral = ReferralForm {
            person: person.id,
            asked_by: "Dr T. Quillfeather".to_owned(),
            received_on: when::days_later(self.today, days - 9).to_string(),
            question: question.to_owned(),
            words: words.to_owned(),
            support: String::new(),
            urgency: if self.people.is_multiple_of(7) { Urgency::Urgent } else { Urgency::Routine },
            criteria: criteria.to_owned(),
        };
        self.store.add_referral(&clerk(), referral).await.map(|(_, study)| study)
    }

    async fn book(
        &self,
        study: &Study,
        days: i64,
        nights: i64,
        monitor: Option<i64>,
    ) -> Result<Loan> {
        let first_night_on = when::days_later(self.today, days);
        let form =
            LoanForm { study: study.id, first_night_on, nights, monitor, repeats_night: None };
        self.store.book(&clerk(), form).await
    }

    async fn lend(
        &self,
        study: &Study,
        days: i64,
        nights: i64,
        monitor: Option<i64>,
    ) -> Result<Loan> {
        self.at(days, 14, 0);
        let loan = self.book(study, days, nights, monitor).await?;
        self.at(days, 14, 20);
        self.store.hand_out(&clerk(), loan.id, hand_out()).await
    }

    async fn take_back(&self, loan: &Loan, skin: Skin, place: &str) -> Result<Loan> {
        let form = TakeBack {
            place: place.to_owned(),
            condition: Condition::Good,
            missing: Vec::new(),
            skin,
            clock_ahead_s: Some(4),
            note: None,
        };
        self.store.take_back(&clerk(), loan.id, form).await
    }

    async fn clean_and_check(&self, monitor: i64, turn: i64) -> Result<Monitor> {
        self.store.clean(&clerk(), monitor, &desk_settings().cleaning[0], true).await?;
        self.store.check(&clerk(), monitor, check(turn)).await
    }
}

/// How the invented department works.
pub fn desk_settings() -> DeskSettings {
    let [hospital, department] = HOSPITAL.map(str::to_owned);
    DeskSettings {
        hospital,
        department,
        telephone: "01632 960142".to_owned(),
        urgent_telephone: "111".to_owned(),
        longest_hours: Some(8.0),
        return_places: vec![
            "desk, level 2 (8:00 to 17:00)".to_owned(),
            "main reception (day and night)".to_owned(),
        ],
        ..DeskSettings::default()
    }
}

pub(crate) fn hand_out() -> HandOut {
    HandOut {
        identified_by: vec!["name".to_owned(), "born_on".to_owned()],
        parts: desk_settings().parts,
        fitting_shown: true,
        burn_warning_told: true,
        agreement_signed: true,
        sensor_temp_c: Some("42".to_owned()),
        clock_ahead_s: Some(3),
        leaflet: Some("1".to_owned()),
        takes_off: true,
        ..HandOut::default()
    }
}

/// A check that passes, its gas reading wandering a little from turn to turn.
pub(crate) fn check(turn: i64) -> CheckForm {
    CheckForm {
        made: CheckWhen::After,
        expected_kpa: Some(GAS_KPA),
        observed_kpa: Some(
            GAS_KPA + f64::from(i32::try_from((turn * 7).rem_euclid(11)).unwrap_or(0) - 5) * 0.03,
        ),
        pressure_kpa: Some(101.3),
        clock_ahead_s: Some(turn.rem_euclid(5)),
        parts: desk_settings().parts,
        passed: true,
        note: String::new(),
    }
}

#[cfg(test)]
mod tests {
    use store::lending::desk::Rung;
    use store::record::db::Place;
    use store::words::MonitorStatus;

    use super::*;

    #[test]
    fn the_department_has_monitors_in_every_state_and_a_busy_morning() {
        let folder = tempfile::tempdir().unwrap();
        let clock = DemoClock::default();
        let told = clock.clone();
        let today = jiff::civil::date(2026, 11, 25);
        let run = tokio::runtime::Runtime::new().unwrap();
        run.block_on(async {
            let place = Place::Folder(folder.path().join("record"));
            let store =
                Store::open(&place, Arc::new(move || told.load(Ordering::SeqCst))).await.unwrap();
            Box::pin(Past::new(&store, clock, today, &|_, _| b"a report".to_vec()).make())
                .await
                .unwrap();
            let mut conn = store.read().await.unwrap();
            let monitors = conn.monitors().await.unwrap();
            let count = |status| monitors.iter().filter(|one| one.status == status).count();
            assert_eq!(monitors.len(), 12);
            for status in MonitorStatus::ALL
                .iter()
                .filter(|one| !matches!(one, MonitorStatus::Retired | MonitorStatus::Booked))
            {
                assert!(count(*status) > 0, "none is {status}");
            }
            let morning = conn.morning(store.now()).await.unwrap();
            let rungs: Vec<_> = morning.missing.iter().filter_map(|line| line.rung).collect();
            assert_eq!(rungs, [Rung::Write, Rung::Ring]);
            assert_eq!(
                (morning.due.len(), morning.back.len(), morning.tonight.len(), morning.skin.len()),
                (2, 2, 2, 1)
            );
        });
    }
}
