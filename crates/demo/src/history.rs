//! Three months of loans that are over: asked for, lent, brought back, read, signed and interpreted.
//!
//! They are there so that the figures for the service say something: a monitor whose gas checks creep up,
//! one that failed a check, nights that had to be repeated, returns without a night. Their files hold a
//! sample each ten seconds, so that the demo starts soon.

use std::collections::BTreeMap;

use store::error::Result;
use store::intake::receive::Incoming;
use store::lending::loan::LoanForm;
use store::lending::machine::Move;
use store::lending::monitor::CheckForm;
use store::people::person::ReferralForm;
use store::reading::content::Wording;
use store::reading::signing;
use store::record::db::Conn;
use store::record::tables::{Loan, Monitor, Night, Outcome, Study, TakeBack};
use store::when;
use store::words::{CheckWhen, Condition, Role, Skin, Urgency};

use crate::kinds::{Kind, MADE_ON, Text};
use crate::living::{GAS_KPA, Past, by, check, clerk, desk_settings, hand_out};

/// The first and the last evening of a loan of this history, counted from the demo's day.
const FIRST: i64 = -91;
const LAST: i64 = -9;
/// The monitors that are lent in turn, and the two that go out for repeats.
const IN_TURN: usize = 9;
/// The monitor whose gas checks creep up.
const CREEPS: usize = 2;
const CREEPS_KPA_A_WEEK: f64 = 0.025;
/// The loan after which a monitor fails its check, and how far off it is, kPa.
const FAILS: usize = 32;
const FAILS_BY_KPA: f64 = 0.62;

/// A day counted from the demo's, an hour and a minute.
type Time = (i64, i8, i8);

/// One loan from the referral to the interpretation.
struct Course {
    n: usize,
    monitor: usize,
    kind: Kind,
    urgency: Urgency,
    came: Time,
    booked: Time,
    out: Time,
    back: Time,
    off: Time,
    signed: Time,
    interpreted: Time,
    /// The course it repeats.
    repeats: Option<usize>,
    /// Whether another repeats it.
    again: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Step {
    Refer,
    Book,
    HandOut,
    TakeBack,
    TakeOff,
    Release,
    Sign,
    Interpret,
}

/// What came of a course so far.
#[derive(Default)]
struct Came {
    study: Option<Study>,
    loan: Option<Loan>,
    night: Option<i64>,
}

impl Past<'_> {
    /// Everything of the three months, in its order.
    pub(crate) async fn history(&mut self) -> Result<()> {
        let courses = self.courses();
        let texts = texts(&courses);
        let mut steps: Vec<(Time, Step, usize)> = Vec::new();
        for (at, course) in courses.iter().enumerate() {
            steps.extend(course.steps().into_iter().map(|(time, step)| (time, step, at)));
        }
        steps.sort_unstable();
        let mut came: Vec<Came> = courses.iter().map(|_| Came::default()).collect();
        for ((days, hour, minute), step, at) in steps {
            self.at(days, hour, minute);
            Box::pin(self.take(&courses, &mut came, at, step, &texts)).await?;
        }
        Ok(())
    }

    fn courses(&self) -> Vec<Course> {
        let mut all: Vec<Course> = Vec::new();
        for days in FIRST..=LAST {
            // Two days of three: every loan costs the start of the demo two papers.
            if self.works(days) && days % 3 != 0 {
                let n = all.len();
                all.push(self.course(n, n % IN_TURN, Kind::of(n), days));
            }
        }
        for at in 0..all.len() {
            let again = self.back_to_work(all[at].out.0 + 8);
            if all[at].kind.failed() && again <= LAST {
                // Loans that repeat another have two monitors of their own, a night each other day.
                let monitor = IN_TURN + all.len() % 2;
                let near =
                    |one: &Course, days: i64| one.repeats.is_some() && (one.out.0 - days).abs() < 2;
                let free = |days: i64| !all.iter().any(|one| near(one, days));
                let Some(days) = (again..=LAST).find(|days| self.works(*days) && free(*days))
                else {
                    continue;
                };
                let mut course =
                    self.course(all.len(), monitor, Kind::Slept("held_with_leak"), days);
                course.urgency = all[at].urgency;
                course.repeats = Some(at);
                // It is booked when the first was read.
                course.booked = (all[at].signed.0, 15, 50);
                all.push(course);
                all[at].again = true;
            }
        }
        all
    }

    fn course(&self, n: usize, monitor: usize, kind: Kind, days: i64) -> Course {
        let urgent = n % 7 == 4;
        let urgency = match n % 7 {
            4 => Urgency::Urgent,
            1 => Urgency::Soon,
            _ => Urgency::Routine,
        };
        let pick = |of: &[i64]| of[n % of.len()];
        let ahead = if urgent { 1 } else { pick(&[3, 7, 5, 10, 4, 8]) };
        let waited = if urgent { pick(&[0, 1]) } else { pick(&[2, 4, 1, 6, 3]) };
        let booked = self.work_before(days - ahead);
        let minute = i8::try_from(n % 50).unwrap_or(0);
        let back = days + 1;
        // Read within days, and all of it before the demo's own week begins.
        let signed = self.back_to_work(back + pick(&[0, 1, 2, 1, 4])).min(LAST + 1);
        let interpreted = self.back_to_work(signed + pick(&[1, 2, 1, 5, 0, 3])).min(LAST + 1);
        Course {
            n,
            monitor,
            kind,
            urgency,
            came: (self.work_before(booked - waited), 10, minute),
            booked: (booked, 15, minute),
            out: (days, 14, minute),
            back: (back, 9, minute),
            off: (back, 10 + pick_hour(n), minute),
            signed: (signed, 15, 40),
            interpreted: (interpreted, 16, 30),
            repeats: None,
            again: false,
        }
    }

    /// Whether the desk is there and lends that evening.
    fn works(&self, days: i64) -> bool {
        when::days_later(self.today, days).weekday().to_monday_zero_offset() < 5
    }

    fn work_before(&self, days: i64) -> i64 {
        (0..7).map(|less| days - less).find(|day| self.works(*day)).unwrap_or(days)
    }

    fn back_to_work(&self, days: i64) -> i64 {
        (0..7).map(|more| days + more).find(|day| self.works(*day)).unwrap_or(days)
    }

    async fn take(
        &mut self,
        courses: &[Course],
        came: &mut [Came],
        at: usize,
        step: Step,
        texts: &BTreeMap<Kind, Text>,
    ) -> Result<()> {
        let course = &courses[at];
        match step {
            Step::Refer => came[at].study = Some(self.ask(course).await?),
            Step::Book => {
                let first =
                    course.repeats.map(|first| (came[first].study.clone(), came[first].night));
                if let Some((study, _)) = &first {
                    came[at].study.clone_from(study);
                }
                let Some(study) = &came[at].study else { return Ok(()) };
                let form = LoanForm {
                    study: study.id,
                    first_night_on: when::days_later(self.today, course.out.0),
                    nights: 1,
                    monitor: Some(self.marks[course.monitor].id),
                    repeats_night: first.and_then(|(_, night)| night),
                };
                came[at].loan = Some(self.store.book(&clerk(), form).await?);
            }
            Step::HandOut => {
                if let Some(loan) = &came[at].loan {
                    self.give(course, loan).await?;
                }
            }
            Step::TakeBack => {
                if let Some(loan) = &came[at].loan {
                    self.bring(course, loan).await?;
                }
            }
            Step::TakeOff => {
                if let Some(loan) = came[at].loan.clone() {
                    came[at].night = Box::pin(self.take_off(course, &loan, texts)).await?;
                }
            }
            Step::Release => self.mend(course).await?,
            Step::Sign | Step::Interpret => {
                if let Some(night) = came[at].night {
                    self.sign(course, night, step == Step::Interpret).await?;
                }
            }
        }
        Ok(())
    }

    async fn ask(&mut self, course: &Course) -> Result<Study> {
        let person = self.of_old();
        let person = self.store.add_person(&clerk(), &person).await?;
        let referral = ReferralForm {
            person: person.id,
            asked_by: "Dr T. Quillfeather".to_owned(),
            received_on: when::days_later(self.today, course.came.0).to_string(),
            question: "night_gas_exchange".to_owned(),
            words: "Tired by day".to_owned(),
            support: String::new(),
            urgency: course.urgency,
            criteria: "adult-air".to_owned(),
        };
        self.store.add_referral(&clerk(), referral).await.map(|(_, study)| study)
    }

    /// The monitor is checked before it goes out, with a new membrane when it needs one.
    async fn give(&self, course: &Course, loan: &Loan) -> Result<()> {
        let monitor: Monitor = self.store.read().await?.get(loan.monitor).await?;
        let today = when::days_later(self.today, course.out.0);
        let fresh = monitor.membrane_on.as_deref().and_then(when::date);
        let fresh = fresh.is_some_and(|on| when::days_later(on, 12) >= today);
        let mut form = gas_check(course.monitor, course.n * 2, course.out.0);
        form.made = CheckWhen::Before;
        if fresh {
            self.store.set_aside(&clerk(), loan.id).await?;
        } else {
            self.store.change_membrane(&clerk(), monitor.id, None).await?;
        }
        self.store.check(&clerk(), monitor.id, form).await?;
        self.store.hand_out(&clerk(), loan.id, hand_out()).await.map(|_| ())
    }

    async fn bring(&self, course: &Course, loan: &Loan) -> Result<()> {
        let missing =
            if course.n % 26 == 9 { vec!["spare ear clips".to_owned()] } else { Vec::new() };
        let form = TakeBack {
            place: desk_settings().return_places[course.n % 2].clone(),
            condition: Condition::Good,
            missing,
            skin: if course.n % 13 == 6 { Skin::Red } else { Skin::Clear },
            clock_ahead_s: Some(4),
            note: None,
        };
        self.store.take_back(&clerk(), loan.id, form).await.map(|_| ())
    }

    /// Its night is taken off, if there is one, and it is cleaned and checked.
    async fn take_off(
        &self,
        course: &Course,
        loan: &Loan,
        texts: &BTreeMap<Kind, Text>,
    ) -> Result<Option<i64>> {
        let mut night = None;
        if let Some(text) = texts.get(&course.kind) {
            night = self.received(course, loan, text).await?;
        }
        let why = if night.is_none() { "nothing recorded: it was not switched on" } else { "" };
        self.store.to_cleaning(&clerk(), loan.monitor, why).await?;
        self.store.clean(&clerk(), loan.monitor, &desk_settings().cleaning[0], true).await?;
        let mut form = gas_check(course.monitor, course.n * 2 + 1, course.back.0);
        if course.n == FAILS {
            form.observed_kpa = form.expected_kpa.map(|expected| expected + FAILS_BY_KPA);
            form.passed = false;
            form.note.push_str("the gas check is off; it goes to the bench");
        }
        self.store.check(&clerk(), loan.monitor, form).await?;
        if night.is_none() && !course.again {
            self.store.close_study(&clerk(), loan.study, "wishes no other night").await?;
        }
        Ok(night)
    }

    async fn received(
        &self,
        course: &Course,
        loan: &Loan,
        (file, notes): &Text,
    ) -> Result<Option<i64>> {
        let day = |later| when::days_later(self.today, course.out.0 + later).to_string();
        let own = |text: &str| text.replace(MADE_ON[0], &day(0)).replace(MADE_ON[1], &day(1));
        let file = Incoming {
            name: format!("{}-{}.csv", self.marks[course.monitor].serial, loan.first_night_on),
            bytes: own(file).into_bytes(),
            taken_off: Some(loan.monitor),
            ..Incoming::default()
        };
        let received = self.store.receive(&clerk(), file).await?;
        let Some(night) = received.nights.first() else { return Ok(None) };
        let why = "marks from the diary on paper";
        self.store.rescore(&reader(), night.id, &own(notes), "adult-air", why).await?;
        Ok(Some(night.id))
    }

    /// A monitor that failed its check is looked at, cleaned and checked again.
    async fn mend(&self, course: &Course) -> Result<()> {
        let monitor = self.marks[course.monitor].id;
        self.store.move_monitor(&clerk(), monitor, Move::Release, "new sensor cable").await?;
        self.store.clean(&clerk(), monitor, &desk_settings().cleaning[0], true).await?;
        let form = gas_check(course.monitor, course.n, course.back.0);
        self.store.check(&clerk(), monitor, form).await.map(|_| ())
    }

    async fn sign(&self, course: &Course, night: i64, interprets: bool) -> Result<()> {
        let physician = by("quill", "Dr Tamsin Quillfeather", Role::Physician);
        let (author, interpretation) = match (interprets, course.kind.failed()) {
            (false, _) => (reader(), ""),
            (true, true) => (physician, "It does not answer; another night."),
            (true, false) => (physician, "It answers what was asked."),
        };
        let words = if interprets {
            Wording::Interpretation(interpretation.to_owned())
        } else {
            Wording::Comment("Read whole.".to_owned())
        };
        let mut conn = self.store.read().await?;
        let row: Night = conn.get(night).await?;
        let content = conn.to_sign(&row, &author, self.store.now(), &words, "").await?;
        let report = self.report(&mut conn, &row).await?;
        drop(conn);
        let (pdf, shown) = ((self.print)(report, content.heading()), content.shown(&words));
        let paper = signing::Paper { content: &content, shown: &shown, changed: "", pdf: &pdf };
        if interprets {
            self.store.interpret_report(&author, night, row.act, &paper).await?;
        } else {
            self.store.sign_report(&author, night, row.act, &paper).await?;
        }
        Ok(())
    }

    /// What the engine says of a night with its latest result.
    async fn report(&self, conn: &mut Conn, night: &Night) -> Result<engine::report::Report> {
        let outcome: Outcome = conn.get(night.result.unwrap_or(0)).await?;
        let criteria = conn.criteria_used(&outcome).await?;
        let held = conn.held(night).await?;
        Ok(engine::report::report(&held.judgement(&night.notes, &criteria)?, &criteria))
    }
}

impl Course {
    fn steps(&self) -> Vec<(Time, Step)> {
        let mut steps = vec![
            (self.booked, Step::Book),
            (self.out, Step::HandOut),
            (self.back, Step::TakeBack),
            (self.off, Step::TakeOff),
            (self.signed, Step::Sign),
            (self.interpreted, Step::Interpret),
        ];
        if self.repeats.is_none() {
            steps.push((self.came, Step::Refer));
        }
        if self.n == FAILS {
            steps.push(((self.off.0, 14, 0), Step::Release));
        }
        steps
    }
}

/// A check of the n-th monitor on a day: it wanders a little, and one of them creeps.
fn gas_check(monitor: usize, turn: usize, days: i64) -> CheckForm {
    let mut form = check(i64::try_from(turn * turn * 3 + turn + monitor * 5).unwrap_or(0));
    if monitor == CREEPS {
        let weeks = f64::from(i32::try_from(days - FIRST).unwrap_or(0)) / 7.0;
        let creeps = |kpa: f64| GAS_KPA + (kpa - GAS_KPA) / 4.0 + CREEPS_KPA_A_WEEK * weeks;
        form.observed_kpa = form.observed_kpa.map(creeps);
    }
    form
}

fn pick_hour(n: usize) -> i8 {
    [0, 1, 3, 0, 2][n % 5]
}

fn reader() -> store::record::act::Author {
    by("thistle", "Ansel Thistlewood", Role::Physiologist)
}

/// Each kind of night that occurs, as text.
fn texts(courses: &[Course]) -> BTreeMap<Kind, Text> {
    let mut texts = BTreeMap::new();
    for course in courses {
        if course.kind != Kind::Nothing && !texts.contains_key(&course.kind) {
            texts.extend(course.kind.text().map(|text| (course.kind, text)));
        }
    }
    texts
}
