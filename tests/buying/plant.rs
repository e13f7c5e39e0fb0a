//! Random plants with an eye to buying: packs, units, part deliveries, obsolete parts, lives.

use std::fmt::Write;
use std::fs;
use std::path::Path;

/// The day of every run.
pub const TODAY: &str = "2026-06-15";

/// Chances from a seed, the same on every machine.
pub struct Dice(pub u64);

impl Dice {
    /// 0 to `below` - 1.
    pub fn roll(&mut self, below: u64) -> u64 {
        // Steele, Lea and Flood, 2014: SplitMix64.
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % below
    }

    fn one_in(&mut self, many: u64) -> bool {
        self.roll(many) == 0
    }

    fn of(&mut self, choice: &[&str]) -> String {
        choice[usize::try_from(self.roll(choice.len() as u64)).unwrap()].to_owned()
    }

    fn date(&mut self) -> String {
        format!("2026-{:02}-{:02}", self.roll(12) + 1, self.roll(28) + 1)
    }

    fn sometimes(&mut self, text: String) -> String {
        if self.one_in(3) { String::new() } else { text }
    }
}

#[derive(Clone, Debug, Default)]
pub struct Part {
    pub part_no: String,
    pub kind: String,
    pub uom: String,
    /// Hundredths of the currency.
    pub price: String,
    pub currency: String,
    pub pack: String,
    pub lead_time: String,
    pub supplier: String,
    pub status: String,
    pub replaced_by: String,
    pub service_life: String,
    pub cycle_life: String,
}

#[derive(Clone, Debug, Default)]
pub struct Circuit {
    pub name: String,
    pub station: String,
    pub need_date: String,
    pub built: bool,
    pub cycles_per_day: String,
    pub topped_up: String,
}

#[derive(Clone, Debug, Default)]
pub struct Line {
    pub circuit: usize,
    pub position: String,
    pub part: String,
    pub qty: String,
    /// Millimetres.
    pub length: String,
    pub fitted_on: String,
}

#[derive(Clone, Debug, Default)]
pub struct Order {
    pub part: String,
    pub qty: String,
    pub uom: String,
    pub order_no: String,
    pub promised: String,
    pub received: String,
}

#[derive(Clone, Debug, Default)]
pub struct Plant {
    pub parts: Vec<Part>,
    pub circuits: Vec<Circuit>,
    /// Name, pump, drive ram, built.
    pub stations: Vec<(String, String, String, bool)>,
    pub lines: Vec<Line>,
    pub orders: Option<Vec<Order>>,
    /// Rule, expires.
    pub waivers: Vec<(String, String)>,
}

const KINDS: [&str; 10] = [
    "clamp",
    "fitting",
    "tube",
    "hose",
    "accumulator",
    "check_valve",
    "charging_cylinder",
    "manifold",
    "pump",
    "drive_ram",
];

impl Plant {
    pub fn of(dice: &mut Dice) -> Self {
        let mut plant = Self::default();
        for (index, kind) in KINDS.iter().cycle().take(22).enumerate() {
            plant.parts.push(part(dice, index, kind));
        }
        for name in ["S1", "S2"] {
            plant.stations.push((name.to_owned(), "P08".to_owned(), dice.of(&["P09", "P19"]), dice.one_in(2)));
        }
        for index in 0..6 {
            let circuit = Circuit {
                name: format!("C{index}"),
                station: dice.of(&["", "S1", "S2"]),
                need_date: {
                    let date = dice.date();
                    dice.sometimes(date)
                },
                built: dice.one_in(3),
                cycles_per_day: dice.of(&["", "0", "2", "37", "250.5"]),
                topped_up: {
                    let date = dice.date();
                    dice.sometimes(date)
                },
            };
            plant.circuits.push(circuit);
            // One that fills from a closed circuit, so that a filling has an end.
            for (position, part) in [("X1", "P06"), ("X2", "P05"), ("X3", "P00")] {
                plant.lines.push(line(dice, index, position, part));
            }
            for number in 0..dice.roll(5) {
                let part = if dice.one_in(20) { "X99".to_owned() } else { format!("P{:02}", dice.roll(22)) };
                plant.lines.push(line(dice, index, &format!("L{number}"), &part));
            }
        }
        if !dice.one_in(5) {
            let orders = (0..dice.roll(25)).map(|number| order(dice, number)).collect();
            plant.orders = Some(orders);
        }
        for _ in 0..dice.roll(3) {
            let date = dice.date();
            plant.waivers.push((dice.of(&["V01", "P05", "H03"]), date));
        }
        plant
    }

    pub fn write(&self, root: &Path) {
        fs::create_dir_all(root.join("lists")).unwrap();
        let policy = format!("date = \"{TODAY}\"\n[values.unit]\neach = [\"ST\"]\nm = [\"Mtr\"]\n");
        fs::write(root.join("policy.toml"), policy).unwrap();
        let mut text = String::from(
            "part_no,kind,uom,unit_price,currency,pack_qty,lead_time,supplier,status,replaced_by,service_life,\
             cycle_life,rated_pressure,area_clamp,stroke,capacity,leak,gas_volume,precharge,inner_diameter\n",
        );
        for part in &self.parts {
            let cells = [
                &part.part_no,
                &part.kind,
                &part.uom,
                &part.price,
                &part.currency,
                &part.pack,
                &part.lead_time,
                &part.supplier,
                &part.status,
                &part.replaced_by,
                &part.service_life,
                &part.cycle_life,
            ];
            let cells = cells.map(String::as_str).join(",");
            writeln!(text, "{cells},400,300,10,100,0.002,20,60,6").unwrap();
        }
        fs::write(root.join("components.csv"), text).unwrap();
        let mut text = String::from(
            "plant,pallet,fixture,circuit,charging,station,pressure_set,pressure_min,hold_time [h],need_date,built,\
             cycles_per_day,topped_up\n",
        );
        for one in &self.circuits {
            let built = if one.built { "yes" } else { "" };
            writeln!(
                text,
                "N,{0},F,{0},cylinder,{1},150,80,4,{2},{built},{3},{4}",
                one.name, one.station, one.need_date, one.cycles_per_day, one.topped_up
            )
            .unwrap();
        }
        fs::write(root.join("circuits.csv"), text).unwrap();
        let mut text = String::from("station,pump,drive_ram,built\n");
        for (name, pump, ram, built) in &self.stations {
            writeln!(text, "{name},{pump},{ram},{}", if *built { "yes" } else { "no" }).unwrap();
        }
        fs::write(root.join("stations.csv"), text).unwrap();
        let mut text = String::from("plant,pallet,fixture,circuit,position,part_no,qty,length [mm],fitted_on\n");
        for line in &self.lines {
            let name = &self.circuits[line.circuit].name;
            let cells = [&line.position, &line.part, &line.qty, &line.length, &line.fitted_on].map(String::as_str);
            writeln!(text, "N,{name},F,{name},{}", cells.join(",")).unwrap();
        }
        fs::write(root.join("lists/all.csv"), text).unwrap();
        if let Some(orders) = &self.orders {
            let mut text = String::from("part_no,qty,uom,order_no,promised_date,received\n");
            for order in orders {
                let cells = [&order.part, &order.qty, &order.uom, &order.order_no, &order.promised, &order.received];
                writeln!(text, "{}", cells.map(String::as_str).join(",")).unwrap();
            }
            fs::write(root.join("orders.csv"), text).unwrap();
        }
        let mut text = String::from("rule,reason,approved_by,expires\n");
        for (rule, expires) in &self.waivers {
            writeln!(text, "{rule},agreed,K. Lind,{expires}").unwrap();
        }
        fs::write(root.join("waivers.csv"), text).unwrap();
    }
}

fn part(dice: &mut Dice, index: usize, kind: &str) -> Part {
    let is_long = matches!(kind, "tube" | "hose");
    // One of the same kind, and the last ones are never obsolete.
    let (status, replaced_by) = if index < 10 {
        (dice.of(&["", "active", "obsolete"]), format!("P{:02}", index + 10))
    } else {
        Default::default()
    };
    let cents = dice.roll(99_999);
    let price = format!("{}.{:02}", cents / 100, cents % 100);
    let (supplier, life, cycles) =
        (dice.of(&["Ash", "Birch", ""]), dice.of(&["", "365", "400.7"]), dice.of(&["", "1000", "33333"]));
    Part {
        part_no: format!("P{index:02}"),
        kind: kind.to_owned(),
        uom: if is_long { dice.of(&["", "m", "ft", "each", "Mtr"]) } else { dice.of(&["", "each", "ST"]) },
        price: dice.sometimes(price),
        currency: dice.of(&["EUR", "USD"]),
        pack: dice.of(&["", "1", "6", "2.5", "25"]),
        lead_time: dice.of(&["", "0", "14", "20.5", "90"]),
        supplier,
        status,
        replaced_by,
        service_life: life,
        cycle_life: cycles,
    }
}

fn line(dice: &mut Dice, circuit: usize, position: &str, part: &str) -> Line {
    let qty = dice.of(&["1", "2", "3", "8", "2", "4", "1", "2", "5", "6", "7", "9", "1", "1", ""]);
    let millimetres = dice.roll(9000) + 1;
    let fitted_on = dice.date();
    Line {
        circuit,
        position: position.to_owned(),
        part: part.to_owned(),
        qty,
        length: if dice.one_in(8) { String::new() } else { format!("{millimetres}.{}", dice.roll(10)) },
        fitted_on: dice.sometimes(fitted_on),
    }
}

fn order(dice: &mut Dice, number: u64) -> Order {
    let qty = dice.roll(3000);
    let promised = dice.date();
    let received = match dice.roll(3) {
        0 => String::new(),
        1 => (qty / 200).to_string(),
        _ => format!("{}.{:02}", qty / 100, qty % 100),
    };
    Order {
        part: if dice.one_in(12) { "X99".to_owned() } else { format!("P{:02}", dice.roll(22)) },
        qty: format!("{}.{:02}", qty / 100, qty % 100),
        uom: dice.of(&["", "", "each", "m", "ft", "mm", "in", "cm", "ST", "Mtr", "pcs", "roll"]),
        order_no: format!("O-{number}"),
        promised: dice.sometimes(promised),
        received,
    }
}
