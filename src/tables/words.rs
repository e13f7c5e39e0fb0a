//! Closed sets of words, as the contract spells them in cells and output.

/// Columns of a place, in the order of a circuit's key.
pub const PLACE: [&str; 4] = ["plant", "pallet", "fixture", "circuit"];

/// Makes an enum whose members are read from and written as fixed words.
///
/// Words match as headers do: without regard to case, blanks, `_`, `-` and `.`.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $member:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$vdoc])* $member),+ }

        impl $name {
            /// Every member, in reading order.
            pub const ALL: &'static [Self] = &[$(Self::$member),+];
            /// Every word, in reading order.
            pub const WORDS: &'static [&'static str] = &[$($word),+];

            /// The word as it stands in files and output.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$member => $word),+ }
            }

            /// The member that a cell's text names, if it names one.
            #[must_use]
            pub fn find(text: &str) -> Option<Self> {
                // Most cells hold the word itself.
                if let Some(member) = Self::ALL.iter().copied().find(|member| member.word() == text) {
                    return Some(member);
                }
                let wanted = $crate::tables::words::folded(text);
                Self::ALL.iter().copied().find(|member| $crate::tables::words::folded(member.word()) == wanted)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.word())
            }
        }
    };
}
pub(crate) use words;

/// A name or word without case, blanks, `_`, `-` and `.`: what two spellings
/// must share to be the same header, sheet or word.
#[must_use]
pub fn folded(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '_' | '-' | '.' | '\u{a0}' | '\u{202f}' | '\u{feff}'))
        .flat_map(char::to_lowercase)
        .collect()
}

words! {
    /// The tables of a plant folder.
    Table {
        Lists = "lists",
        Components = "components",
        Circuits = "circuits",
        Stations = "stations",
        Orders = "orders",
        Waivers = "waivers",
    }
}

words! {
    /// The unit that a part is bought in.
    Uom { Each = "each", M = "m", Ft = "ft" }
}

words! {
    /// The part of a side between two valves.
    Zone {
        /// Ahead of the check valve: without pressure once uncoupled.
        Charge = "charge",
        /// Behind the check valve.
        Full = "full",
        /// Behind the reducing valve.
        Reduced = "reduced",
    }
}

words! {
    /// What a component is (ISO 5598 terms).
    Kind {
        Clamp = "clamp",
        WorkSupport = "work_support",
        ChargingCylinder = "charging_cylinder",
        DriveRam = "drive_ram",
        Pump = "pump",
        CheckValve = "check_valve",
        IsolationValve = "isolation_valve",
        ReliefValve = "relief_valve",
        ReducingValve = "reducing_valve",
        SequenceValve = "sequence_valve",
        FlowControl = "flow_control",
        Accumulator = "accumulator",
        Gauge = "gauge",
        TestPoint = "test_point",
        Tube = "tube",
        Hose = "hose",
        Manifold = "manifold",
        Fitting = "fitting",
        Coupling = "coupling",
        Filter = "filter",
        Other = "other",
    }
}

impl Kind {
    /// Tubes and hoses: what is cut to a length and carries oil.
    #[must_use]
    pub const fn is_conductor(self) -> bool {
        matches!(self, Self::Tube | Self::Hose)
    }

    /// Clamps and work supports: what takes swept volume.
    #[must_use]
    pub const fn is_actuator(self) -> bool {
        matches!(self, Self::Clamp | Self::WorkSupport)
    }

    /// The word in running text: `work support` for `work_support`.
    #[must_use]
    pub fn plain(self) -> String {
        self.word().replace('_', " ")
    }
}

words! {
    /// The side of the circuit that a line is listed on.
    Side { Clamp = "clamp", Unclamp = "unclamp", Both = "both" }
}

words! {
    /// Whether oil moves the clamps one way or both ways.
    Acting { Single = "single", Double = "double" }
}

words! {
    /// How a circuit gets its pressure.
    Charging { Cylinder = "cylinder", Coupler = "coupler", Live = "live" }
}

impl Charging {
    /// Whether the circuit is uncoupled and has to hold by itself.
    #[must_use]
    pub const fn is_uncoupled(self) -> bool {
        matches!(self, Self::Cylinder | Self::Coupler)
    }
}

words! {
    /// A yes or no cell.
    YesNo { Yes = "yes", No = "no" }
}

words! {
    /// Whether a part can still be bought.
    Status { Active = "active", Obsolete = "obsolete" }
}

words! {
    /// How bad a nonconformity is (words of ISO 9000 and ISO 19011).
    Severity { Major = "major", Minor = "minor", Observation = "observation" }
}

words! {
    /// What became of a finding.
    State { New = "new", Standing = "standing", Waived = "waived", Open = "open" }
}

words! {
    /// The verdict on a circuit.
    Verdict {
        DoesNotConform = "does not conform",
        NotAssessed = "not assessed",
        ConformsWithWaivers = "conforms with waivers",
        Conforms = "conforms",
    }
}
