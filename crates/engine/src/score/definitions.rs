//! Every measure with its id, words, unit, definition and source, in the order they are printed.
//!
//! `docs/measures.md` says the same at length.

use crate::score::co2::Co2;
use crate::score::figures::Definition;
use crate::score::oxygen::Oxygen;
use crate::score::pulse::Pulse;
use crate::unit::{Unit, kpa_from_mmhg};

impl Oxygen<'_> {
    /// The measures of SpO2.
    pub(super) const TABLE: [Definition<Self>; 19] = [
        Definition {
            id: "spo2.mean",
            name: "Mean SpO2",
            unit: Unit::Percent,
            sentence: "The mean of all believed samples in the period",
            source: "common practice",
            of: |spo2| spo2.mean(),
        },
        Definition {
            id: "spo2.median",
            name: "Median SpO2",
            unit: Unit::Percent,
            sentence: "The value below which SpO2 lay for half of believed time",
            source: "gries-1996",
            of: |spo2| spo2.percentile(50.0),
        },
        Definition {
            id: "spo2.sd",
            name: "SpO2, standard deviation",
            unit: Unit::Percent,
            sentence: "The standard deviation of all believed samples, dividing by their number less one",
            source: "common practice",
            of: |spo2| spo2.sd(),
        },
        Definition {
            id: "spo2.min",
            name: "Lowest SpO2",
            unit: Unit::Percent,
            sentence: "The lowest believed sample",
            source: "gries-1996",
            of: |spo2| spo2.percentile(0.0),
        },
        Definition {
            id: "spo2.p5",
            name: "SpO2, 5th percentile",
            unit: Unit::Percent,
            sentence: "The value below which SpO2 lay for 5 % of believed time",
            source: "urschitz-2003",
            of: |spo2| spo2.percentile(5.0),
        },
        Definition {
            id: "spo2.p10",
            name: "SpO2, 10th percentile",
            unit: Unit::Percent,
            sentence: "The value below which SpO2 lay for 10 % of believed time",
            source: "gries-1996",
            of: |spo2| spo2.percentile(10.0),
        },
        Definition {
            id: "spo2.awake",
            name: "SpO2 awake",
            unit: Unit::Percent,
            sentence: "The mean of believed samples in time marked awake or before lights out",
            source: "common practice",
            of: |spo2| spo2.awake(),
        },
        Definition {
            id: "spo2.time_below_90",
            name: "Time with SpO2 below 90 %",
            unit: Unit::Percent,
            sentence: "The share of believed time with SpO2 below 90 %; 90 % itself does not count",
            source: "olson-1999",
            of: |spo2| spo2.time_below(90.0, true),
        },
        Definition {
            id: "spo2.time_at_or_below_88",
            name: "Time with SpO2 at or below 88 %",
            unit: Unit::Percent,
            sentence: "The share of believed time with SpO2 at or below 88 %",
            source: "bauman-2013",
            of: |spo2| spo2.time_below(88.0, false),
        },
        Definition {
            id: "spo2.time_below_85",
            name: "Time with SpO2 below 85 %",
            unit: Unit::Percent,
            sentence: "The share of believed time with SpO2 below 85 %",
            source: "common practice",
            of: |spo2| spo2.time_below(85.0, true),
        },
        Definition {
            id: "spo2.time_below_80",
            name: "Time with SpO2 below 80 %",
            unit: Unit::Percent,
            sentence: "The share of believed time with SpO2 below 80 %",
            source: "common practice",
            of: |spo2| spo2.time_below(80.0, true),
        },
        Definition {
            id: "spo2.seconds_at_or_below_90_per_h",
            name: "Seconds at or below 90 % in each hour",
            unit: Unit::SecondPerHour,
            sentence: "Seconds with SpO2 at or below 90 % in each hour of believed time",
            source: "urschitz-2003",
            of: |spo2| {
                spo2.time_below(90.0, false).map(|share| share.map(|percent| percent * 36.0))
            },
        },
        Definition {
            id: "spo2.longest_at_or_below_88",
            name: "Longest run at or below 88 %",
            unit: Unit::Second,
            sentence: "The longest unbroken run of believed samples at or below 88 %",
            source: "icsd3-2014",
            of: |spo2| spo2.longest_at_or_below(88.0),
        },
        Definition {
            id: "spo2.delta_index_12s",
            name: "Delta index, 12 s",
            unit: Unit::Percent,
            sentence: "The mean absolute difference of neighbouring believed readings 12 s apart",
            source: "olson-1999",
            of: |spo2| spo2.delta_index(),
        },
        Definition {
            id: "spo2.odi3",
            name: "Falls of 3 % from the peak",
            unit: Unit::PerHour,
            sentence: "Falls of 3 % or more from the preceding peak, as long as the criteria ask, \
                     in each hour of believed time",
            source: "from memory",
            of: |spo2| spo2.odi3(),
        },
        Definition {
            id: "spo2.odi4",
            name: "Falls of 4 % from the peak",
            unit: Unit::PerHour,
            sentence: "Falls of 4 % or more from the preceding peak, as long as the criteria ask, \
                     in each hour of believed time",
            source: "from memory",
            of: |spo2| spo2.odi4(),
        },
        Definition {
            id: "spo2.odi3_mean120",
            name: "Falls of 3 % from the mean of 120 s",
            unit: Unit::PerHour,
            sentence: "Falls of 3 % or more from the mean of the 120 s before, as long as the criteria \
                     ask, in each hour of believed time",
            source: "sleep-science-mean120",
            of: |spo2| spo2.odi3_mean120(),
        },
        Definition {
            id: "spo2.odi4_mean120",
            name: "Falls of 4 % from the mean of 120 s",
            unit: Unit::PerHour,
            sentence: "Falls of 4 % or more from the mean of the 120 s before, as long as the criteria \
                     ask, in each hour of believed time",
            source: "jabfm-definitions",
            of: |spo2| spo2.odi4_mean120(),
        },
        Definition {
            id: "spo2.area_per_h",
            name: "Desaturation area",
            unit: Unit::PercentMinutePerHour,
            sentence: "The area under the level fallen from, over falls of 3 % from the peak, in each \
                     hour of believed time; no respiratory event is seen, so it is no hypoxic burden",
            source: "common practice",
            of: |spo2| spo2.area(),
        },
    ];
}

impl Pulse<'_> {
    /// The measures of pulse rate.
    pub(super) const TABLE: [Definition<Self>; 6] = [
        Definition {
            id: "pulse.mean",
            name: "Mean pulse",
            unit: Unit::PerMinute,
            sentence: "The mean of all believed samples in the period",
            source: "common practice",
            of: |pulse| pulse.mean(),
        },
        Definition {
            id: "pulse.min",
            name: "Lowest pulse",
            unit: Unit::PerMinute,
            sentence: "The lowest believed sample",
            source: "common practice",
            of: |pulse| pulse.min(),
        },
        Definition {
            id: "pulse.max",
            name: "Highest pulse",
            unit: Unit::PerMinute,
            sentence: "The highest believed sample",
            source: "common practice",
            of: |pulse| pulse.max(),
        },
        Definition {
            id: "pulse.sd",
            name: "Pulse, standard deviation",
            unit: Unit::PerMinute,
            sentence: "The standard deviation of all believed samples, dividing by their number less one",
            source: "common practice",
            of: |pulse| pulse.sd(),
        },
        Definition {
            id: "pulse.rises6",
            name: "Pulse rises of 6 /min",
            unit: Unit::PerHour,
            sentence: "Rises of 6 /min or more within the time the criteria allow, in each hour of \
                     believed time; not to be read with a paced, irregular or blocked pulse",
            source: "from memory",
            of: |pulse| pulse.rises(6.0),
        },
        Definition {
            id: "pulse.rises10",
            name: "Pulse rises of 10 /min",
            unit: Unit::PerHour,
            sentence: "Rises of 10 /min or more within the time the criteria allow, in each hour of \
                     believed time; not to be read with a paced, irregular or blocked pulse",
            source: "from memory",
            of: |pulse| pulse.rises(10.0),
        },
    ];
}

/// A level of CO2, given in kPa and once more in mmHg.
pub(super) struct Level<C> {
    /// In kPa.
    pub(super) kpa: Definition<C>,
    /// Id of the same in mmHg.
    pub(super) mmhg_id: &'static str,
}

impl Co2 {
    /// The levels of CO2.
    pub(super) const LEVELS: [Level<Self>; 7] = [
        Level {
            mmhg_id: "tcpco2.awake_mmhg",
            kpa: Definition {
                id: "tcpco2.awake",
                name: "CO2 awake",
                unit: Unit::Kilopascal,
                sentence: "The mean of believed samples in time marked awake or before lights out, once the sensor had settled",
                source: "common practice",
                of: |co2| co2.awake(),
            },
        },
        Level {
            mmhg_id: "tcpco2.mean_mmhg",
            kpa: Definition {
                id: "tcpco2.mean",
                name: "Mean CO2",
                unit: Unit::Kilopascal,
                sentence: "The mean of all believed samples in the period",
                source: "common practice",
                of: |co2| co2.mean(),
            },
        },
        Level {
            mmhg_id: "tcpco2.median_mmhg",
            kpa: Definition {
                id: "tcpco2.median",
                name: "Median CO2",
                unit: Unit::Kilopascal,
                sentence: "The value below which CO2 lay for half of believed time",
                source: "common practice",
                of: |co2| co2.percentile(50.0),
            },
        },
        Level {
            mmhg_id: "tcpco2.max_mmhg",
            kpa: Definition {
                id: "tcpco2.max",
                name: "Highest CO2",
                unit: Unit::Kilopascal,
                sentence: "The highest believed sample",
                source: "orlikowski-2017",
                of: |co2| co2.percentile(100.0),
            },
        },
        Level {
            mmhg_id: "tcpco2.p95_mmhg",
            kpa: Definition {
                id: "tcpco2.p95",
                name: "CO2, 95th percentile",
                unit: Unit::Kilopascal,
                sentence: "The value below which CO2 lay for 95 % of believed time",
                source: "common practice",
                of: |co2| co2.percentile(95.0),
            },
        },
        Level {
            mmhg_id: "tcpco2.sustained10_mmhg",
            kpa: Definition {
                id: "tcpco2.sustained10",
                name: "Highest CO2 held for 10 min",
                unit: Unit::Kilopascal,
                sentence: "The highest level that CO2 kept to or above for 10 unbroken minutes of believed time",
                source: "berry-2012",
                of: |co2| co2.sustained(),
            },
        },
        Level {
            mmhg_id: "tcpco2.rise_mmhg",
            kpa: Definition {
                id: "tcpco2.rise",
                name: "Rise of CO2 above awake",
                unit: Unit::Kilopascal,
                sentence: "The highest level held for 10 minutes less the awake level",
                source: "berry-2012",
                of: |co2| co2.rise(),
            },
        },
    ];

    /// The shares of time above a level of CO2.
    pub(super) const SHARES: [Definition<Self>; 4] = [
        Definition {
            id: "tcpco2.time_above_6_0",
            name: "Time with CO2 above 6.0 kPa",
            unit: Unit::Percent,
            sentence: "The share of believed time with CO2 above 6.0 kPa; 6.0 kPa itself does not count",
            source: "department setting",
            of: |co2| co2.time_above(6.0),
        },
        Definition {
            id: "tcpco2.time_above_6_5",
            name: "Time with CO2 above 6.5 kPa",
            unit: Unit::Percent,
            sentence: "The share of believed time with CO2 above 6.5 kPa; 6.5 kPa itself does not count",
            source: "ward-2005",
            of: |co2| co2.time_above(6.5),
        },
        Definition {
            id: "tcpco2.time_above_50mmhg",
            name: "Time with CO2 above 50 mmHg",
            unit: Unit::Percent,
            sentence: "The share of believed time with CO2 above 50 mmHg; 50 mmHg itself does not count",
            source: "trucco-2018",
            of: |co2| co2.time_above(kpa_from_mmhg(50.0)),
        },
        Definition {
            id: "tcpco2.time_above_55mmhg",
            name: "Time with CO2 above 55 mmHg",
            unit: Unit::Percent,
            sentence: "The share of believed time with CO2 above 55 mmHg; 55 mmHg itself does not count",
            source: "berry-2012",
            of: |co2| co2.time_above(kpa_from_mmhg(55.0)),
        },
    ];

    /// The lag of CO2.
    pub(super) const LAG: Definition<Self> = Definition {
        id: "tcpco2.lag",
        name: "Lag of CO2 behind SpO2",
        unit: Unit::Second,
        sentence: "The shift at which rises of CO2 agree best with falls of SpO2, for events of some minutes",
        source: "common practice",
        of: |co2| co2.lag(),
    };
}
