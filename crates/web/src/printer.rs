//! What is put on paper, by whoever can.
//!
//! The crate that makes PDF is heavy, so the workbench only says what should stand on the paper.

/// One label, as plain data.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Label {
    /// The mark as text and as code: `M-0007-K`.
    pub mark: String,
    /// What it is, under the mark, one line each.
    pub lines: Vec<String>,
}

/// Puts plain data on paper. Each answer is a whole PDF, or why there is none, in words for the page.
pub trait Printer: Send + Sync {
    /// A sheet of labels.
    ///
    /// # Errors
    /// In words for the page.
    fn labels(&self, labels: &[Label]) -> Result<Vec<u8>, String>;
}

/// A printer that prints nothing and says why.
#[derive(Clone, Copy, Debug)]
pub struct NoPrinter;

impl Printer for NoPrinter {
    fn labels(&self, _labels: &[Label]) -> Result<Vec<u8>, String> {
        Err("this build of matins has no PDF in it".to_owned())
    }
}
