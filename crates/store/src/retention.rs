//! Its time over, or asked for by the person it is about.

pub mod belongings;
pub mod destroy;
pub mod schedule;
pub mod subject_access;
