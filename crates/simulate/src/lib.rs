//! simulate
