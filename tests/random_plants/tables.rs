//! A plant as cells, to be written, spoilt and told backwards.

use std::collections::BTreeSet;
use std::fmt;
use std::fs;
use std::path::Path;

pub type Row = Vec<String>;
pub type Table = Vec<Row>;

/// A plant as cells; each list is a file.
#[derive(Clone)]
pub struct Plant {
    pub components: Table,
    pub circuits: Option<Table>,
    pub stations: Table,
    pub orders: Option<Table>,
    pub waivers: Option<Table>,
    pub lists: Vec<Table>,
}

pub const COMPONENTS: &str = "part_no,kind,rated_pressure,min_pressure,area_clamp,area_unclamp,stroke,volume_clamp,\
    dead_volume,capacity,pressure_ratio,return_loss,set_pressure,full_scale,inner_diameter,outer_diameter,\
    tensile_strength,expansion,gas_volume,precharge,flow,leak,return_pressure,stiffness,force_max,support_capacity,\
    includes,seal,status,uom,unit_price,lead_time,pack_qty";
pub const CIRCUITS: &str = "plant,pallet,fixture,circuit,acting,charging,station,pressure_set,pressure_min,temp_min,temp_max,\
    hold_time,clamp_time_max,unclamp_time_max,fluid,need_date,built";
pub const STATIONS: &str = "station,pump,drive_ram,pump_setting";
pub const ORDERS: &str = "part_no,qty,uom,order_no,unit_price,promised_date";
pub const WAIVERS: &str = "plant,pallet,fixture,circuit,position,rule,reason,approved_by,expires";
pub const LISTS: &str = "plant,pallet,fixture,circuit,position,part_no,qty,length,stroke_used,side,share,force_required,\
    set_pressure,precharge,reduced,supports,note";

/// A cell to overwrite: table, row, column (counted round) and text.
pub type Spoilt = (usize, usize, usize, String);

/// The cells that hold something, a row a line: a failing plant is to be read.
impl fmt::Debug for Plant {
    fn fmt(&self, out: &mut fmt::Formatter) -> fmt::Result {
        let used: BTreeSet<&String> =
            self.lists.iter().flatten().map(|row| &row[5]).chain(self.stations.iter().flatten()).collect();
        let components: Table = self.components.iter().filter(|row| used.contains(&row[0])).cloned().collect();
        let optional = [(CIRCUITS, &self.circuits), (ORDERS, &self.orders), (WAIVERS, &self.waivers)];
        let optional = optional.into_iter().filter_map(|(head, table)| table.as_ref().map(|table| (head, table)));
        let lists = self.lists.iter().map(|table| (LISTS, table));
        for (head, table) in
            [(COMPONENTS, &components), (STATIONS, &self.stations)].into_iter().chain(optional).chain(lists)
        {
            writeln!(out)?;
            for row in table {
                let cells = head.split(',').map(str::trim).zip(row).filter(|(_, cell)| !cell.is_empty());
                writeln!(out, "{}", cells.map(|(name, cell)| format!("{name}={cell}")).collect::<Vec<_>>().join("; "))?;
            }
        }
        Ok(())
    }
}

fn write_table(path: &Path, head: &str, rows: &[Row]) {
    let mut out = csv::Writer::from_path(path).unwrap();
    out.write_record(head.split(',').map(str::trim)).unwrap();
    rows.iter().for_each(|row| out.write_record(row).unwrap());
    out.flush().unwrap();
}

impl Plant {
    /// Overwrites a cell that is no key: those must stay unique and readable for the test itself.
    pub fn spoil(&mut self, (table, row, column, text): Spoilt) {
        let lists = self.lists.len();
        let (rows, keys) = match table {
            0 => (&mut self.components, 2),
            1 => (&mut self.lists[row % lists], 6),
            _ => match &mut self.circuits {
                Some(rows) => (rows, 7),
                None => return,
            },
        };
        let Some(at) = row.checked_rem(rows.len()) else {
            return;
        };
        let cells = &mut rows[at];
        let column = keys + column % (cells.len() - keys);
        cells[column] = text;
    }

    pub fn write(&self, folder: &Path) {
        self.write_with(folder, "");
    }

    /// Writes it with further columns of the component table.
    pub fn write_with(&self, folder: &Path, columns: &str) {
        fs::create_dir_all(folder.join("lists")).unwrap();
        fs::write(folder.join("policy.toml"), "date = \"2026-03-02\"\n").unwrap();
        write_table(&folder.join("components.csv"), &format!("{COMPONENTS}{columns}"), &self.components);
        write_table(&folder.join("stations.csv"), STATIONS, &self.stations);
        for (name, head, table) in [
            ("circuits", CIRCUITS, &self.circuits),
            ("orders", ORDERS, &self.orders),
            ("waivers", WAIVERS, &self.waivers),
        ] {
            if let Some(rows) = table {
                write_table(&folder.join(format!("{name}.csv")), head, rows);
            }
        }
        for (index, rows) in self.lists.iter().enumerate() {
            write_table(&folder.join(format!("lists/list-{index}.csv")), LISTS, rows);
        }
    }

    /// The same plant told backwards: last file first, last line first.
    pub fn reversed(&self) -> Self {
        let back = |rows: &Table| rows.iter().rev().cloned().collect::<Table>();
        Self {
            circuits: self.circuits.as_ref().map(back),
            orders: self.orders.as_ref().map(back),
            waivers: self.waivers.as_ref().map(back),
            stations: back(&self.stations),
            lists: self.lists.iter().rev().map(back).collect(),
            ..self.clone()
        }
    }

    /// Part numbers that a circuit uses, on its lines and through its station.
    pub fn parts_of(&self, place: &[String]) -> BTreeSet<String> {
        let own = self.lists.iter().flatten().filter(|row| place_of(row) == place).map(|row| row[5].clone());
        let station = self.station_of(place);
        let sources = self
            .stations
            .iter()
            .filter(|row| Some(&row[0]) == station.as_ref())
            .flat_map(|row| [row[1].clone(), row[2].clone()]);
        own.chain(sources).filter(|part| !part.is_empty()).collect()
    }

    pub fn station_of(&self, place: &[String]) -> Option<String> {
        let row = self.circuits.iter().flatten().find(|row| place_of(row) == place)?;
        (!row[6].is_empty()).then(|| row[6].clone())
    }
}

/// The key of a row of a list or of `circuits`: a blank circuit is the first.
pub fn place_of(row: &[String]) -> Vec<String> {
    let mut place = row[..4].to_vec();
    if place[3].is_empty() {
        "1".clone_into(&mut place[3]);
    }
    place
}
