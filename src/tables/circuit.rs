//! A circuit: its key, its service data and its lines.

use super::component::Component;
use super::line::Line;
use super::origin::Origin;
use super::plant::Plant;
use super::station::Station;
use super::words::{Acting, Charging, Side};

pub use super::circuit_key::{CircuitKey, Name};
pub use super::column::Service;

/// Whether a circuit is in service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InService {
    Yes,
    Planned,
    /// Its `built` can't be read.
    Unknown,
}

impl InService {
    /// Of a circuit; planned where the circuits table has no row for it.
    #[must_use]
    pub fn of(circuit: &Circuit) -> Self {
        circuit.service.as_ref().map_or(Self::Planned, Service::in_service)
    }

    /// The word in reports.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Yes => "yes",
            Self::Planned => "planned",
            Self::Unknown => "unknown",
        }
    }
}

impl Service {
    /// The columns that ask for a hold, and whether each states something.
    #[must_use]
    pub const fn hold_data(&self) -> [(&'static str, bool); 4] {
        [
            ("pressure_min", self.pressure_min.is_some()),
            ("hold_time", self.hold_time.is_some()),
            ("temp_min", self.temp_min.is_some()),
            ("temp_max", self.temp_max.is_some()),
        ]
    }

    /// Whether one of them does.
    #[must_use]
    pub fn states_hold_data(&self) -> bool {
        self.hold_data().iter().any(|(_, is_stated)| *is_stated)
    }

    /// Whether the circuit is in service, as far as that can be read.
    #[must_use]
    pub fn in_service(&self) -> InService {
        match self.built {
            true => InService::Yes,
            false if self.is_unreadable("built") => InService::Unknown,
            false => InService::Planned,
        }
    }

    /// How the circuit is charged: `cylinder` where nothing is said.
    #[must_use]
    pub fn charging(&self) -> Charging {
        self.charging.unwrap_or(Charging::Cylinder)
    }
}

/// A circuit with all that the lists and the circuits table say of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Circuit {
    pub key: CircuitKey,
    /// `None` where the circuits table has no row for it.
    pub service: Option<Service>,
    /// In the order of the files; empty where only the circuits table names it.
    pub lines: Vec<Line>,
    /// Rows of the same file whose circuit can't be told: this one's volumes are then unknown.
    pub stray_rows: Vec<Origin>,
    /// The load station as a remedy under trial would change it.
    pub trial_station: Option<Box<Station>>,
    /// Share of the dead volume outside clamps and cylinders that a group of a split under trial
    /// has; all of it where nothing is split.
    pub trial_share: Option<f64>,
}

impl Circuit {
    /// Its service data, with everything blank where there is no row.
    #[must_use]
    pub fn service(&self) -> std::borrow::Cow<'_, Service> {
        self.service.as_ref().map_or_else(|| std::borrow::Cow::Owned(Service::default()), std::borrow::Cow::Borrowed)
    }

    /// Its load station, where one is named and known.
    #[must_use]
    pub fn station<'a>(&'a self, plant: &'a Plant) -> Option<&'a Station> {
        if self.trial_station.is_some() {
            return self.trial_station.as_deref();
        }
        plant.station(&self.service.as_ref()?.station)
    }

    /// Single- or double-acting: as stated, else double where every known clamp is.
    #[must_use]
    pub fn acting(&self, components: &[Component]) -> Acting {
        if let Some(stated) = self.service.as_ref().and_then(|service| service.acting) {
            return stated;
        }
        let mut clamps = self
            .lines
            .iter()
            .filter_map(|line| line.component(components))
            .filter(|component| component.is(super::words::Kind::Clamp))
            .peekable();
        if clamps.peek().is_some() && clamps.all(Component::is_double_acting) { Acting::Double } else { Acting::Single }
    }
}

/// Whether a line counts on a side (`clamp` or `unclamp`) of a circuit.
#[must_use]
pub fn counts_on(line: &Line, component: Option<&Component>, acting: Acting, side: Side) -> bool {
    match acting {
        Acting::Single => side == Side::Clamp,
        Acting::Double => component.is_some_and(Component::is_actuator) || line.side == Side::Both || line.side == side,
    }
}
