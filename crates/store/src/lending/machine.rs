//! The life of a monitor: which move leads from where to where. Nothing else changes where a monitor stands.

use crate::words::MonitorStatus;
use crate::words::MonitorStatus::Back;
use crate::words::MonitorStatus::Booked;
use crate::words::MonitorStatus::Held;
use crate::words::MonitorStatus::InRepair;
use crate::words::MonitorStatus::Lost;
use crate::words::MonitorStatus::Out;
use crate::words::MonitorStatus::Ready;
use crate::words::MonitorStatus::Retired;
use crate::words::MonitorStatus::ToCheck;
use crate::words::MonitorStatus::ToClean;

/// One move in the life of a monitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    /// Packed for one loan.
    SetAside,
    /// Unpacked again.
    PutBack,
    /// Given to the patient.
    HandOut,
    /// Taken from whoever brings it.
    TakeBack,
    /// Its night is off it, or is known to be lost.
    ToCleaning,
    /// Cleaned by the department's procedure.
    Clean,
    /// Passed its check.
    Pass,
    /// Did not pass its check.
    Fail,
    /// The check it passed is voided.
    Uncheck,
    /// Kept from going out, with a reason.
    Hold,
    /// Let go on; it is cleaned and checked anew.
    Release,
    /// Sent away.
    SendAway,
    /// Come back from repair or service.
    ComeBack,
    /// Given up as lost.
    GiveUp,
    /// Found in the house.
    Find,
    /// Taken out of use.
    Retire,
}

impl Move {
    /// Every move.
    pub const ALL: [Self; 16] = [
        Self::SetAside,
        Self::PutBack,
        Self::HandOut,
        Self::TakeBack,
        Self::ToCleaning,
        Self::Clean,
        Self::Pass,
        Self::Fail,
        Self::Uncheck,
        Self::Hold,
        Self::Release,
        Self::SendAway,
        Self::ComeBack,
        Self::GiveUp,
        Self::Find,
        Self::Retire,
    ];
}

/// Where the move leads, or `None` when it cannot be made from there.
pub const fn after(stands: MonitorStatus, step: Move) -> Option<MonitorStatus> {
    Some(match (stands, step) {
        (Ready, Move::SetAside) => Booked,
        (Booked, Move::PutBack) | (ToCheck, Move::Pass) => Ready,
        (Booked, Move::HandOut) => Out,
        (Out | Lost, Move::TakeBack) | (Lost, Move::Find) => Back,
        (Back, Move::ToCleaning) | (Held, Move::Release) | (InRepair, Move::ComeBack) => ToClean,
        (ToClean, Move::Clean) | (Ready, Move::Uncheck) => ToCheck,
        (ToCheck, Move::Fail) | (Ready | Booked | ToClean | ToCheck, Move::Hold) => Held,
        (Ready | ToClean | ToCheck | Held, Move::SendAway) => InRepair,
        (Ready | Out | ToClean | ToCheck | Held | InRepair, Move::GiveUp) => Lost,
        (Ready | ToClean | ToCheck | Held | InRepair | Lost, Move::Retire) => Retired,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Everywhere a monitor can get to from one place without the moves named.
    fn reached(from: MonitorStatus, without: &[Move]) -> Vec<MonitorStatus> {
        let mut seen = vec![from];
        let mut at = 0;
        while at < seen.len() {
            for step in Move::ALL.into_iter().filter(|step| !without.contains(step)) {
                if let Some(next) = after(seen[at], step).filter(|next| !seen.contains(next)) {
                    seen.push(next);
                }
            }
            at += 1;
        }
        seen
    }

    #[test]
    fn whichever_way_it_goes_a_monitor_that_was_out_is_cleaned_and_checked_before_it_goes_out_again()
     {
        for from in
            MonitorStatus::ALL.iter().copied().filter(|from| !matches!(from, Ready | Booked | Out))
        {
            assert!(!reached(from, &[Move::Pass]).contains(&Out), "{from}");
            // Past cleaning only what waits for its check is nearer.
            if from != ToCheck {
                assert!(!reached(from, &[Move::Clean]).contains(&Out), "{from}");
            }
        }
        // Out again from out leads only through the house.
        let back = after(Out, Move::TakeBack).unwrap();
        assert!(!reached(back, &[Move::Clean]).contains(&Out));
    }

    #[test]
    fn a_monitor_goes_out_only_from_being_set_aside() {
        let from: Vec<_> = MonitorStatus::ALL
            .iter()
            .filter(|from| after(**from, Move::HandOut).is_some())
            .collect();
        assert_eq!(from, [&Booked]);
    }

    #[test]
    fn nothing_leads_out_of_retirement_and_everything_else_can_come_round() {
        assert_eq!(reached(Retired, &[]), [Retired]);
        for from in MonitorStatus::ALL.iter().filter(|from| **from != Retired) {
            assert!(reached(*from, &[]).contains(&Ready), "{from}");
        }
    }
}
