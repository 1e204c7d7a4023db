//! A night that does not answer becomes a booking for another, in one act, with its reason.

use jiff::civil::Date;

use crate::error::Result;
use crate::error::StoreError;
use crate::lending::loan::LoanForm;
use crate::people::person::reason_given;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::row::Record as _;
use crate::record::tables::Loan;
use crate::record::tables::Night;
use crate::record::tables::Person;
use crate::words::NightStatus;

/// When another night is wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Again {
    /// Evening of the first night.
    pub first_night_on: Date,
    /// How many nights.
    pub nights: i64,
    /// The monitor wanted; `None` lets the desk's rule choose.
    pub monitor: Option<i64>,
    /// Why: of the recording, no findings, for the desk reads it.
    pub reason: String,
}

/// A night that is being repeated.
#[derive(Clone, Debug)]
pub struct Repeated {
    /// The night.
    pub night: Night,
    /// Whose it is.
    pub person: Person,
    /// The loan that repeats it.
    pub loan: Loan,
}

impl Store {
    /// Books another night in place of one, as its reader saw it when act `seen` had written it. The night
    /// stays as it is, can still be signed, and waits to be read no more while that loan stands.
    ///
    /// # Errors
    /// When the night is not as it was seen, belongs to nobody, is being repeated already, no reason is
    /// given, or a monitor cannot be booked.
    pub async fn repeat_night(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        again: Again,
    ) -> Result<Loan> {
        let reason = reason_given(&again.reason)?;
        let mut act = self.act(by, "night.repeat").await?;
        let mut night: Night = act.get_as_seen(id, seen).await?;
        let Some(study) = night.study else {
            let says = "this night is not tied to a patient";
            return Err(StoreError::refused("night_not_ready", says, "settle whose it is first"));
        };
        if let Some(loan) = act.conn().repeats(id).await? {
            let says = format!("this night is being repeated already by loan {}", loan.mark);
            return Err(StoreError::refused("repeated", says, "cancel that loan first"));
        }
        let (first_night_on, nights) = (again.first_night_on, again.nights);
        let form = LoanForm {
            study,
            first_night_on,
            nights,
            monitor: again.monitor,
            repeats_night: Some(id),
        };
        let loan = act.book(&form, Some(reason.clone())).await?;
        // Written as it is, so that another reader of it sees that something happened.
        act.put(&mut night).await?;
        act.on(Night::name(id), night.person);
        act.because(reason);
        act.close().await?;
        Ok(loan)
    }
}

impl Conn {
    /// The loan that repeats a night, unless it was cancelled or lost.
    pub async fn repeats(&mut self, night: i64) -> Result<Option<Loan>> {
        let clause = "WHERE repeats_night = $1 AND status NOT IN ('cancelled', 'lost') ORDER BY id DESC LIMIT 1";
        self.first(clause, &[night.into()]).await
    }

    /// Unsigned nights whose other night is booked or under way, the oldest booking first.
    pub async fn repeated(&mut self) -> Result<Vec<Repeated>> {
        let clause = "WHERE repeats_night IS NOT NULL AND status IN ('booked', 'out') ORDER BY id";
        let loans: Vec<Loan> = self.find(clause, &[]).await?;
        let nights: Vec<i64> = loans.iter().filter_map(|loan| loan.repeats_night).collect();
        let nights: Vec<Night> = self.find_among("id", &nights).await?;
        let people: Vec<i64> = loans.iter().map(|loan| loan.person).collect();
        let people: Vec<Person> = self.find_among("id", &people).await?;
        let one = |loan: Loan| {
            let night = nights.iter().find(|night| Some(night.id) == loan.repeats_night)?.clone();
            let person = people.iter().find(|one| one.id == loan.person)?.clone();
            (night.status != NightStatus::Signed).then_some(Repeated { night, person, loan })
        };
        Ok(loans.into_iter().filter_map(one).collect())
    }
}
