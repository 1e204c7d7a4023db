//! The workbench.
