//! The closed sets of words of the record. What a page shows is `says`; what is kept is `text`.

words! {
    /// What a person may do. One account has one role.
    Role {
        /// Lends the monitors and takes them back. Sees names and dates, no results.
        Desk = "desk", "desk";
        /// Reads nights and signs them technically.
        Physiologist = "physiologist", "physiologist";
        /// Interprets and signs reports.
        Physician = "physician", "physician";
        /// Reads the audit, reviews retention, records destruction.
        Governance = "governance", "governance";
        /// Keeps accounts and settings. Sees no results.
        Administrator = "administrator", "administrator";
        /// The program itself: migrations, the demo, restores.
        Program = "program", "the program";
    }
}

words! {
    /// Where a monitor stands.
    MonitorStatus {
        /// Clean, checked and free.
        Ready = "ready", "ready";
        /// Set aside for one loan.
        Booked = "booked", "booked";
        /// With a patient.
        Out = "out", "out";
        /// Handed in, its night not yet taken off it.
        Back = "back", "back";
        /// Waits for cleaning.
        ToClean = "to_clean", "to clean";
        /// Cleaned, waits for its check.
        ToCheck = "to_check", "to check";
        /// Must not go out until somebody releases it.
        Held = "held", "held";
        /// Away for repair or service.
        InRepair = "in_repair", "in repair";
        /// Not found.
        Lost = "lost", "lost";
        /// Will not go out again.
        Retired = "retired", "retired";
    }
}

words! {
    /// Where a loan stands.
    LoanStatus {
        /// Promised for its nights.
        Booked = "booked", "booked";
        /// The monitor is with the patient.
        Out = "out", "out";
        /// The monitor is back.
        Back = "back", "back";
        /// Given up before the monitor went out.
        Cancelled = "cancelled", "cancelled";
        /// The monitor did not come back.
        Lost = "lost", "monitor lost";
    }
}

words! {
    /// What a consumable is.
    ConsumableKind {
        /// Membrane kit of the CO2 sensor.
        Membrane = "membrane", "membrane kit";
        /// Cylinder of calibration gas.
        Gas = "gas", "calibration gas";
        /// Contact gel.
        Gel = "gel", "contact gel";
        /// Ear clips and fixation rings.
        Clip = "clip", "ear clip";
        /// Disinfecting wipes.
        Wipes = "wipes", "wipes";
    }
}

words! {
    /// When a check of a monitor was made.
    CheckWhen {
        /// Before it went out.
        Before = "before", "before the loan";
        /// After it came back, before it may go out again.
        After = "after", "after the loan";
    }
}

words! {
    /// The monitor's condition on its return.
    Condition {
        /// As it went out.
        Good = "good", "good";
        /// Works, but something is worn or stained.
        Worn = "worn", "worn or stained";
        /// Broken or suspected of it: it is held after cleaning.
        Damaged = "damaged", "damaged or suspect";
    }
}

words! {
    /// The skin under the sensor, as the patient told or the desk saw. It is always asked.
    Skin {
        /// No mark.
        Clear = "clear", "no mark";
        /// Red where the sensor sat, no pain.
        Red = "red", "red, not sore";
        /// Sore.
        Sore = "sore", "sore";
        /// Blister or burn.
        Blister = "blister", "blister or burn";
        /// Nobody could be asked.
        NotKnown = "not_known", "could not be asked";
    }
}

words! {
    /// The patient's word on the night.
    Representative {
        /// Slept about as usual.
        Yes = "yes", "about as usual";
        /// Not as usual.
        No = "no", "not as usual";
        /// Could not say or was not asked.
        NotKnown = "not_known", "not known";
    }
}

words! {
    /// How soon the referrer needs the answer.
    Urgency {
        /// In its turn.
        Routine = "routine", "routine";
        /// Before routine nights.
        Soon = "soon", "soon";
        /// First.
        Urgent = "urgent", "urgent";
    }
}

words! {
    /// Where a study of one referral stands.
    StudyStatus {
        /// No night yet.
        Waiting = "waiting", "waiting for a night";
        /// A loan is booked or out.
        OnLoan = "on_loan", "on loan";
        /// A night is in and waits to be read.
        ToRead = "to_read", "waits to be read";
        /// A report is signed.
        Reported = "reported", "reported";
        /// Closed without a report, with its reason.
        Closed = "closed", "closed";
    }
}

words! {
    /// Where a downloaded night stands.
    NightStatus {
        /// In the record, tied to nobody: a named person must say whose it is.
        Untied = "untied", "whose night is not settled";
        /// Tied to its loan and waits to be read.
        Waiting = "waiting", "waits to be read";
        /// Being read: somebody changed what is believed.
        Reading = "reading", "being read";
        /// Its report is signed.
        Signed = "signed", "signed";
        /// Set aside with a reason: not a night of this department's patients, or a double.
        SetAside = "set_aside", "set aside";
    }
}

words! {
    /// Where the tie of a night by hand stands.
    TieStatus {
        /// One person proposes it against a doubt; a second must agree.
        Proposed = "proposed", "waits for a second person";
        /// The night is tied.
        Tied = "tied", "tied by hand";
        /// A second person did not agree, or it was taken back.
        Declined = "declined", "declined";
        /// The night was untied or set aside.
        Undone = "undone", "undone";
    }
}

words! {
    /// How a night was chosen for a second reading.
    Drawn {
        /// Drawn with a seed that is kept.
        Random = "random", "drawn at random";
        /// Picked by hand.
        Hand = "hand", "picked by hand";
    }
}

words! {
    /// How a borrower was reached.
    Contact {
        /// By telephone.
        Telephone = "telephone", "telephone";
        /// By text message.
        Message = "message", "text message";
        /// By letter.
        Letter = "letter", "letter";
        /// In person.
        Visit = "visit", "in person";
    }
}
