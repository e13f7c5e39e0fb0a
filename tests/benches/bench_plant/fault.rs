//! The faults that a bench plant has, one a circuit.

use super::numbers::Numbers;

/// What is wrong with a circuit, by the rule that finds it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Fault {
    UnknownPart,
    NoQuantity,
    SamePosition,
    UnreadableLength,
    AlteredPart,
    NoLength,
    NoRow,
    NoCylinder,
    TwoCylinders,
    NoCheckValve,
    NoIsolationValve,
    NoGauge,
    DoubleActing,
    WrongSeal,
    LongCylinder,
    SmallCylinder,
    WeakFitting,
    WeakValve,
    SetTooHigh,
    SetTooLow,
    DemandingClamp,
    ThinTube,
    LateSequence,
    EarlyRelief,
    CoarseGauge,
    PotentialTooHigh,
    Cools,
    Leaks,
    LowPrecharge,
    SlowClamping,
    SlowUnclamping,
}

const FAULTS: [Fault; 31] = [
    Fault::UnknownPart,
    Fault::NoQuantity,
    Fault::SamePosition,
    Fault::UnreadableLength,
    Fault::AlteredPart,
    Fault::NoLength,
    Fault::NoCheckValve,
    Fault::NoIsolationValve,
    Fault::NoGauge,
    Fault::DoubleActing,
    Fault::WrongSeal,
    Fault::WeakFitting,
    Fault::WeakValve,
    Fault::SetTooHigh,
    Fault::SetTooLow,
    Fault::DemandingClamp,
    Fault::ThinTube,
    Fault::LateSequence,
    Fault::EarlyRelief,
    Fault::CoarseGauge,
    Fault::PotentialTooHigh,
    Fault::Cools,
    Fault::Leaks,
    Fault::LowPrecharge,
    Fault::SlowClamping,
    Fault::SlowUnclamping,
    // Those of a charging cylinder, which a coupler's circuit hasn't; without a row it should have one.
    Fault::NoRow,
    Fault::NoCylinder,
    Fault::TwoCylinders,
    Fault::LongCylinder,
    Fault::SmallCylinder,
];
const WITHOUT_CYLINDER: usize = 26;

impl Fault {
    /// All rules that the fault breaks: a part below charge pressure is below the potential one too.
    #[must_use]
    pub const fn rules(self) -> &'static [&'static str] {
        match self {
            Self::UnknownPart => &["L01"],
            Self::NoQuantity => &["L02"],
            Self::SamePosition => &["L03"],
            Self::UnreadableLength => &["L04"],
            Self::AlteredPart => &["L05"],
            Self::NoLength => &["L06"],
            Self::NoRow => &["L08"],
            Self::NoCylinder => &["M01"],
            Self::TwoCylinders => &["M02"],
            Self::NoCheckValve => &["M03"],
            Self::NoIsolationValve => &["M04"],
            Self::NoGauge => &["M05"],
            Self::DoubleActing => &["M06"],
            Self::WrongSeal => &["M07"],
            Self::LongCylinder => &["M08"],
            Self::SmallCylinder => &["V01"],
            Self::WeakFitting => &["P05", "P13"],
            Self::WeakValve => &["P06", "P13"],
            Self::SetTooHigh => &["P03"],
            Self::SetTooLow => &["P11"],
            Self::DemandingClamp => &["P07"],
            Self::ThinTube => &["P08", "P13"],
            Self::LateSequence => &["P09"],
            Self::EarlyRelief => &["P10"],
            Self::CoarseGauge => &["P12"],
            Self::PotentialTooHigh => &["P13"],
            Self::Cools => &["H02"],
            Self::Leaks => &["H03"],
            Self::LowPrecharge => &["H04"],
            Self::SlowClamping => &["T01"],
            Self::SlowUnclamping => &["T02"],
        }
    }

    /// One circuit of each twenty has a fault; the faults take turns.
    #[must_use]
    pub fn of(seed: u64, index: u64, is_coupled: bool) -> Option<Self> {
        let twenty = index / 20;
        let place = Numbers(seed ^ twenty.wrapping_mul(0xA24B_AED4_963E_E407)).below(20);
        let choice = if is_coupled { &FAULTS[..WITHOUT_CYLINDER] } else { &FAULTS[..] };
        let turn = twenty.wrapping_add(seed.wrapping_mul(12)) % choice.len() as u64;
        (index % 20 == place as u64).then(|| choice[usize::try_from(turn).unwrap_or_default()])
    }

    pub const fn is_about_holding(self) -> bool {
        matches!(self, Self::Cools | Self::Leaks | Self::LowPrecharge)
    }
}
