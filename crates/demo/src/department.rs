//! The invented department: its guests, and which virtual sleeper plays each of them.

/// The department.
pub const HOSPITAL: [&str; 2] =
    ["Larkmoor General Hospital (invented)", "Sleep and Breathing Physiology"];

/// What the page says of it.
pub const ABOUT: &str = "Hospital, people and monitors are invented, and the nights are made \
by a simulator: nothing here was measured on anyone. Each report was made from the recording and the \
notes beside it, as it would be made from a patient's; the truth file tells what the simulator knows \
and the report had to find out.";

/// One invented person with one made night.
#[derive(Debug)]
pub struct Guest {
    /// Stem of the files.
    pub file: &'static str,
    /// Name.
    pub person: &'static str,
    /// Date of birth.
    pub born: &'static str,
    /// The same as the record keeps it.
    pub born_on: &'static str,
    /// Why the night was asked for.
    pub reason: &'static str,
    /// The virtual sleeper, by name.
    pub sleeper: &'static str,
    /// The night's number.
    pub seed: u64,
}

/// The guests, in the order of the table.
pub const GUESTS: [Guest; 9] = [
    Guest {
        file: "nightcap",
        person: "NIGHTCAP, Nell",
        born: "4 April 1979",
        born_on: "1979-04-04",
        reason: "Tired by day; nothing found so far",
        sleeper: "steady",
        seed: 1,
    },
    Guest {
        file: "bolster",
        person: "BOLSTER, Bram",
        born: "19 June 1968",
        born_on: "1968-06-19",
        reason: "Snores, with pauses that the household hears",
        sleeper: "deep_sawtooth",
        seed: 2,
    },
    Guest {
        file: "featherbed",
        person: "FEATHERBED, Oriel",
        born: "30 November 1961",
        born_on: "1961-11-30",
        reason: "Morning headaches; breathing support considered",
        sleeper: "high_all_night",
        seed: 3,
    },
    Guest {
        file: "counterpane",
        person: "COUNTERPANE, Ivo",
        born: "8 February 1985",
        born_on: "1985-02-08",
        reason: "Weak breathing muscles; yearly night",
        sleeper: "drifting",
        seed: 4,
    },
    Guest {
        file: "hammock",
        person: "HAMMOCK, Tess",
        born: "21 August 1956",
        born_on: "1956-08-21",
        reason: "On ventilation by mask; mask changed last month",
        sleeper: "held_with_leak",
        seed: 5,
    },
    Guest {
        file: "lantern",
        person: "LANTERN, Jory",
        born: "12 May 1949",
        born_on: "1949-05-12",
        reason: "Worn lungs; first night on oxygen",
        sleeper: "oxygen_started",
        seed: 6,
    },
    Guest {
        file: "cradlesong",
        person: "CRADLESONG, Pip",
        born: "1 March 2018",
        born_on: "2018-03-01",
        reason: "Large tonsils, restless sleep",
        sleeper: "falling_child",
        seed: 7,
    },
    Guest {
        file: "tumbledown",
        person: "TUMBLEDOWN, Hob",
        born: "27 September 1973",
        born_on: "1973-09-27",
        reason: "Tired by day; sleeps badly",
        sleeper: "restless",
        seed: 8,
    },
    Guest {
        file: "quilton",
        person: "QUILTON, Bea",
        born: "16 October 1990",
        born_on: "1990-10-16",
        reason: "Before an operation; is CO2 kept in sleep?",
        sleeper: "slipping",
        seed: 9,
    },
];

impl Guest {
    /// Number of the study, invented.
    fn study(&self) -> String {
        format!("LM-DEMO-{:04}", self.seed)
    }

    /// The heading of the report, as a heading file.
    pub fn heading(&self) -> String {
        let [hospital, department] = HOSPITAL;
        let study = self.study();
        format!(
            "# Invented from top to bottom.\n\
             hospital = [\"{hospital}\", \"{department}\"]\n\
             study_id = \"{study}\"\n\
             patient = [[\"Name\", \"{}\"], [\"Date of birth\", \"{}\"], [\"Number\", \"invented\"]]\n\
             study = [[\"Study\", \"{study}\"], [\"Asked by\", \"Dr T. Quillfeather (invented)\"], \
             [\"Reason\", \"{}\"]]\n\
             signature = [[\"Scored by\", \"\"], [\"Read by\", \"\"], [\"Date\", \"\"]]\n",
            self.person, self.born, self.reason
        )
    }
}
