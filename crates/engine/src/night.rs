//! The whole way in one function.

use crate::correct::correct;
use crate::criteria::Criteria;
use crate::judge::{Judgement, judge};
use crate::notes::Notes;
use crate::recording::Recording;
use crate::score::score;
use crate::screen::screen;

/// From a recording to its judgement: screen, correct, score, judge.
pub fn night(recording: Recording, notes: Notes, criteria: &Criteria) -> Judgement {
    let screened = screen(recording, notes, criteria);
    let corrected = correct(screened, criteria);
    let scores = score(corrected, criteria);
    judge(scores, criteria)
}
