//! Thousands of desk acts in no sensible order, held against what must always be true.

use store::error::StoreError;
use store::lending::machine::Move;
use store::record::db::Store;
use store::record::tables::Loan;
use store::record::tables::LoanNight;
use store::record::tables::Monitor;
use store::record::tables::Movement;
use store::record::tables::Study;
use store::words::LoanStatus;
use store::words::MonitorStatus;

use crate::made::desk_clerk;
use crate::made::full_hand_out;
use crate::made::good_check;
use crate::made::good_return;
use crate::made::loan;
use crate::made::ready;
use crate::made::study;

/// Numbers without order, the same on every run (the generator of Park and Miller, 1988).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: i64) -> i64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        i64::try_from(self.0).unwrap() % sides
    }
}

async fn anything(
    store: &Store,
    dice: &mut Dice,
    studies: &[Study],
    loans: i64,
) -> Result<bool, StoreError> {
    let by = desk_clerk();
    let (monitor, id) = (1 + dice.roll(4), 1 + dice.roll(loans.max(1)));
    let which = usize::try_from(dice.roll(12)).unwrap();
    match dice.roll(16) {
        0 | 1 => {
            let first = format!("2026-12-{:02}", 1 + dice.roll(28));
            return store
                .book(&by, loan(&studies[which], &first, 1 + dice.roll(3)))
                .await
                .map(|_| true);
        }
        2 | 3 => store.hand_out(&by, id, full_hand_out()).await.map(|_| ()),
        4 | 5 => store.take_back(&by, id, good_return()).await.map(|_| ()),
        6 | 7 => store.to_cleaning(&by, monitor, "nothing recorded").await.map(|_| ()),
        8 | 9 => store.clean(&by, monitor, "wiped", true).await.map(|_| ()),
        10 | 11 => store.check(&by, monitor, good_check()).await.map(|_| ()),
        12 => store.cancel(&by, id, "any").await.map(|_| ()),
        13 => store.exchange_monitor(&by, id, None).await.map(|_| ()),
        14 => store.set_aside(&by, id).await.map(|_| ()),
        _ => {
            let step = [
                Move::Hold,
                Move::Release,
                Move::SendAway,
                Move::ComeBack,
                Move::GiveUp,
                Move::Find,
            ][usize::try_from(dice.roll(6)).unwrap()];
            store.move_monitor(&by, monitor, step, "any").await.map(|_| ())
        }
    }?;
    Ok(false)
}

/// What must be true of the record at any moment.
async fn holds(store: &Store) {
    let mut conn = store.read().await.unwrap();
    let monitors: Vec<Monitor> = conn.find("ORDER BY id", &[]).await.unwrap();
    let loans: Vec<Loan> = conn.find("ORDER BY id", &[]).await.unwrap();
    for monitor in &monitors {
        let out: Vec<_> = loans
            .iter()
            .filter(|loan| loan.monitor == monitor.id && loan.status == LoanStatus::Out)
            .collect();
        assert_eq!(
            out.len(),
            usize::from(monitor.status == MonitorStatus::Out),
            "{}",
            monitor.mark
        );
        assert!(out.iter().all(|loan| monitor.loan == Some(loan.id)));
        let moves: Vec<Movement> =
            conn.find("WHERE monitor = $1 ORDER BY id", &[monitor.id.into()]).await.unwrap();
        assert_eq!(moves.last().unwrap().after, monitor.status);
        assert!(moves.windows(2).all(|two| two[0].after == two[1].before), "{}", monitor.mark);
        cleaned_and_checked_before_each_loan(&moves);
    }
    let nights: Vec<LoanNight> =
        conn.find("WHERE NOT freed ORDER BY monitor, night_on", &[]).await.unwrap();
    assert!(
        nights
            .windows(2)
            .all(|two| (two[0].monitor, &two[0].night_on) != (two[1].monitor, &two[1].night_on))
    );
    for night in &nights {
        let loan = loans.iter().find(|loan| loan.id == night.loan).unwrap();
        assert!(
            !matches!(loan.status, LoanStatus::Cancelled | LoanStatus::Lost),
            "{} holds a night",
            loan.mark
        );
        assert_eq!(loan.monitor, night.monitor);
    }
}

fn cleaned_and_checked_before_each_loan(moves: &[Movement]) {
    let (mut cleaned, mut checked) = (false, false);
    for step in moves {
        match (step.before, step.after) {
            (MonitorStatus::ToClean, MonitorStatus::ToCheck) => cleaned = true,
            (MonitorStatus::ToCheck, MonitorStatus::Ready) => checked = cleaned,
            (_, MonitorStatus::Back) => (cleaned, checked) = (false, false),
            (_, MonitorStatus::Out) => {
                assert!(cleaned && checked, "went out unclean or unchecked: {step:?}");
            }
            _ => {}
        }
    }
}

on_both! {
    async fn whatever_the_desk_does_no_monitor_is_lent_twice_or_unclean(desk) {
        let store = &desk.store;
        for serial in ["S1", "S2", "S3", "S4"] {
            ready(store, serial).await;
        }
        let mut studies = Vec::new();
        for n in 0..12 {
            studies.push(study(store, n).await);
        }
        let (mut dice, mut loans, mut done, mut refused) = (Dice(20_261_125), 0, 0, 0);
        for round in 0..600 {
            match anything(store, &mut dice, &studies, loans).await {
                Ok(booked) => {
                    loans += i64::from(booked);
                    done += 1;
                }
                Err(StoreError::Refused(_) | StoreError::Missing { .. }) => refused += 1,
                Err(other) => panic!("{other}"),
            }
            if round % 20 == 0 {
                desk.wait_s(6 * 3600);
                holds(store).await;
            }
        }
        holds(store).await;
        assert!(done > 100 && refused > 100 && loans > 20, "{done} done, {refused} refused, {loans} loans");
    }
}
