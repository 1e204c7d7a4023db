//! What the caller writes around a report: whose it is, who asked, who signs.

/// Words joined to a report when it is printed. The engine never sees them before.
///
/// An empty text is printed as a ruled blank to be written on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heading {
    /// Hospital and department, one line each.
    pub hospital: Vec<String>,
    /// The patient: name, date of birth, number.
    pub patient: Vec<Slot>,
    /// The study: number, who asked, why.
    pub study: Vec<Slot>,
    /// The study's id, repeated on every page; may be empty.
    pub study_id: String,
    /// Earlier nights to compare with, one line each; empty: a blank.
    pub comparison: Vec<String>,
    /// The comment of whoever scored the night, one paragraph each; empty: a blank.
    pub comment: Vec<String>,
    /// By whom it is and when; may be empty.
    pub commented: String,
    /// What a physician says that the night means, one paragraph each; empty: there is none.
    pub interpretation: Vec<String>,
    /// By whom it is and when; may be empty.
    pub interpreted: String,
    /// What must be known beside the figures, one sentence each; empty: nothing.
    pub reservations: Vec<String>,
    /// Who signs.
    pub signature: Vec<Slot>,
    /// BCP 47 language of the free words, for instance `en-GB`.
    pub lang: String,
    /// Which version of the report it is, on every page; may be empty.
    pub version: String,
    /// What the record says of this paper, beside what the report was made from.
    pub record: Vec<Slot>,
    /// What stands across every page of a paper that may not be acted upon.
    pub stamp: Option<Stamp>,
}

/// What stands across every page of a paper that is not signed, or stands no more.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// One word, large: `DRAFT`, `WITHDRAWN`, `REPLACED`.
    pub word: String,
    /// The sentences that belong to it: when, by whom, why, and what stands now.
    pub says: String,
}

impl Stamp {
    /// Of a report that nobody has signed.
    pub fn draft() -> Self {
        Self {
            word: "DRAFT".to_owned(),
            says: "Not signed by anybody, not to be acted upon: so it would print now.".to_owned(),
        }
    }
}

/// A labelled place for a few words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Slot {
    /// What belongs there.
    pub label: String,
    /// The words; empty: a blank to be written on.
    pub text: String,
}

impl Slot {
    /// A slot with its words.
    pub fn new(label: impl Into<String>, text: impl Into<String>) -> Self {
        Self { label: label.into(), text: text.into() }
    }
}

impl Default for Heading {
    /// Every slot with its label and nothing in it.
    fn default() -> Self {
        let blank = |label: &str| Slot::new(label, "");
        Self {
            hospital: Vec::new(),
            patient: ["Name", "Date of birth", "Number"].map(blank).into(),
            study: ["Study", "Asked by", "Reason"].map(blank).into(),
            study_id: String::new(),
            comparison: Vec::new(),
            comment: Vec::new(),
            commented: String::new(),
            interpretation: Vec::new(),
            interpreted: String::new(),
            reservations: Vec::new(),
            signature: ["Scored by", "Read by", "Date"].map(blank).into(),
            lang: "en-GB".into(),
            version: String::new(),
            record: Vec::new(),
            stamp: None,
        }
    }
}

/// A filled heading of an invented patient in an invented hospital, for samples and the demo.
pub fn sample_heading() -> Heading {
    Heading {
        hospital: vec!["Larkmoor General Hospital".into(), "Sleep and Breathing Physiology".into()],
        patient: vec![
            Slot::new("Name", "PENDLEWICK, Orla"),
            Slot::new("Date of birth", "2 May 1951"),
            Slot::new("Number", "LM 000 0018"),
        ],
        study: vec![
            Slot::new("Study", "LM-2026-0142"),
            Slot::new("Asked by", "Dr T. Quillfeather, respiratory clinic"),
            Slot::new("Reason", "Morning headaches; BMI 41; breathing support considered"),
        ],
        study_id: "LM-2026-0142".into(),
        comparison: Vec::new(),
        reservations: Vec::new(),
        comment: Vec::new(),
        signature: vec![
            Slot::new("Scored by", "A. Thistlewood"),
            Slot::new("Read by", ""),
            Slot::new("Date", ""),
        ],
        ..Heading::default()
    }
}
