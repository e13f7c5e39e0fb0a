//! Words that plants write over their columns and into their cells, in English and German: one table
//! of data, from no program's export. A word under two columns of one table is ambiguous and never
//! matches by itself.

use crate::tables::column::Table;
use crate::tables::near_column::bare_name;
use crate::tables::words::folded;

/// A column and the words that stand for it, in the tables named; in every table where none is.
pub(super) struct TradeWords {
    pub column: &'static str,
    pub tables: &'static [Table],
    pub words: &'static [&'static str],
}

const fn all(column: &'static str, words: &'static [&'static str]) -> TradeWords {
    TradeWords { column, tables: &[], words }
}

const fn of(column: &'static str, tables: &'static [Table], words: &'static [&'static str]) -> TradeWords {
    TradeWords { column, tables, words }
}

/// Columns of words for people alone: where one of them is not read, no rule misses anything.
const FOR_PEOPLE: [&str; 3] = ["note", "description", "supplier"];

/// The column of a table that a header of the trade stands for, of those that `is_wanted` and that a rule may miss.
pub(crate) fn column_meant(table: Table, header: &str, is_wanted: impl Fn(&str) -> bool) -> Option<&'static str> {
    let name = header.split(['[', '(', '{', '<']).next().unwrap_or_default();
    let wanted = [header, name, bare_name(header).as_str()].map(folded);
    let says = |words: &&TradeWords| {
        (words.tables.is_empty() || words.tables.contains(&table))
            && words.words.iter().any(|word| wanted.contains(&folded(word)))
    };
    let columns = COLUMNS.iter().filter(says).map(|words| words.column);
    columns.filter(|name| table.column(name).is_some() && !FOR_PEOPLE.contains(name)).find(|name| is_wanted(name))
}

pub(super) const COLUMNS: &[TradeWords] = &[
    all("plant", &["Works", "Site", "Factory", "Werk", "Standort"]),
    all("pallet", &["Pallet no", "Pallet #", "Pal", "Pallet number", "Palette", "Paletten-Nr", "Palettennummer"]),
    all("fixture", &["Fixture no", "Fixture #", "Jig", "Vorrichtung", "Vorrichtungs-Nr", "Spannvorrichtung"]),
    all(
        "circuit",
        &["Circuit no", "Circuit #", "Hydraulic circuit", "Kreis", "Kreis-Nr", "Spannkreis", "Hydraulikkreis"],
    ),
    of(
        "position",
        &[Table::Lists],
        &["Pos", "Ref", "Location", "Place", "Find no", "Balloon", "Einbauort", "Einbaulage", "Spannstelle"],
    ),
    all(
        "part_no",
        &[
            "Part",
            "Part number",
            "Part no",
            "P/N",
            "Item",
            "Item no",
            "Item number",
            "Material",
            "Material no",
            "Material number",
            "Article",
            "Article no",
            "Article number",
            "Teilenummer",
            "Teile-Nr",
            "Teil",
            "Artikel",
            "Artikel-Nr",
            "Artikelnummer",
            "Material-Nr",
            "Materialnummer",
            "Sachnummer",
            "Ident-Nr",
        ],
    ),
    all(
        "qty",
        &[
            "Quantity",
            "Qty per",
            "Quantity per",
            "Pieces",
            "Pcs",
            "Count",
            "Number off",
            "Order qty",
            "Order quantity",
            "Menge",
            "Bestellmenge",
            "Anzahl",
            "Stk",
            "Stück",
            "Stückzahl",
        ],
    ),
    of("length", &[Table::Lists], &["Tube length", "Cut length", "Länge", "Rohrlänge", "Schlauchlänge"]),
    of("side", &[Table::Lists], &["Seite", "Wirkseite"]),
    of(
        "stroke_used",
        &[Table::Lists],
        &["Used stroke", "Working stroke", "Hub", "Arbeitshub", "Nutzhub", "Hub genutzt", "Genutzter Hub"],
    ),
    of(
        "force_required",
        &[Table::Lists],
        &[
            "Clamping force required",
            "Clamping force",
            "Clamp force",
            "Holding force",
            "Required clamping force",
            "Required force",
            "Force needed",
            "Min force",
            "Minimum force",
            "Sollkraft",
            "Spannkraft",
            "Spannkraft soll",
            "Haltekraft",
            "Mindestkraft",
            "Erforderliche Kraft",
        ],
    ),
    of("set_pressure", &[Table::Lists, Table::Components], &["Setting", "Set point", "Einstelldruck"]),
    of("note", &[Table::Lists], &["Remark", "Remarks", "Comment", "Bem", "Bemerkung", "Hinweis", "Notiz"]),
    of("kind", &[Table::Components], &["Type of part", "Category", "Art", "Bauart", "Teileart", "Gattung"]),
    of(
        "description",
        &[Table::Components],
        &["Text", "Name", "Designation", "Bezeichnung", "Benennung", "Beschreibung"],
    ),
    of(
        "rated_pressure",
        &[Table::Components],
        &[
            "Max pressure",
            "Max operating pressure",
            "Maximum pressure",
            "Nominal pressure",
            "Pressure rating",
            "p max",
            "Nenndruck",
            "Max Druck",
            "Max Betriebsdruck",
            "Betriebsdruck max",
        ],
    ),
    of("min_pressure", &[Table::Components], &["Minimum pressure", "p min", "Mindestdruck", "Min Druck"]),
    of(
        "area_clamp",
        &[Table::Components],
        &[
            "Piston area",
            "Clamping area",
            "Effective area",
            "Working area",
            "Kolbenfläche",
            "Spannfläche",
            "Wirkfläche",
            "Wirkfläche Spannen",
        ],
    ),
    of("piston_area", &[Table::Components], &["Kolbenfläche"]),
    of("area_unclamp", &[Table::Components], &["Annulus area", "Unclamping area", "Ringfläche", "Lösefläche"]),
    of("stroke", &[Table::Components], &["Hub", "Gesamthub", "Full stroke"]),
    of("capacity", &[Table::Components], &["Usable oil", "Oil capacity", "Nutzvolumen", "Fördervolumen", "Hubvolumen"]),
    of("dead_volume", &[Table::Components], &["Dead oil", "Totvolumen"]),
    of("inner_diameter", &[Table::Components], &["ID", "Tube ID", "Hose ID", "Bore", "Innendurchmesser", "Innen-Ø"]),
    of("outer_diameter", &[Table::Components], &["OD", "Tube OD", "Außendurchmesser", "Aussendurchmesser", "Außen-Ø"]),
    of("tensile_strength", &[Table::Components], &["Tensile", "Zugfestigkeit"]),
    of("gas_volume", &[Table::Components], &["Gas", "Gasvolumen"]),
    of("precharge", &[Table::Components, Table::Lists], &["Precharge pressure", "Vorfülldruck", "Gasdruck"]),
    of("leak", &[Table::Components], &["Leakage", "Leak rate", "Leckage", "Leckrate"]),
    of("full_scale", &[Table::Components], &["Scale", "Gauge range", "Anzeigebereich", "Skalenendwert"]),
    of("return_pressure", &[Table::Components], &["Spring return pressure", "Rückstelldruck", "Federrückstelldruck"]),
    of("seal", &[Table::Components], &["Seals", "Dichtung", "Dichtungswerkstoff"]),
    of("uom", &[Table::Components, Table::Orders], &["Unit", "Einheit", "ME", "Mengeneinheit"]),
    of(
        "unit_price",
        &[Table::Components, Table::Orders],
        &["Price", "Unit cost", "Net price", "Preis", "Nettopreis", "Einzelpreis", "Stückpreis"],
    ),
    of("currency", &[Table::Components, Table::Orders], &["Währung"]),
    of("lead_time", &[Table::Components], &["Delivery time", "Lieferzeit", "Wiederbeschaffungszeit"]),
    of("supplier", &[Table::Components, Table::Orders], &["Vendor", "Lieferant"]),
    of("replaced_by", &[Table::Components], &["Successor", "Superseded by", "Nachfolger", "Ersetzt durch"]),
    of("acting", &[Table::Circuits], &["Action", "Wirkung", "Wirkungsweise"]),
    of("charging", &[Table::Circuits], &["Supply", "Versorgung", "Befüllung", "Druckversorgung"]),
    of(
        "station",
        &[Table::Circuits, Table::Stations],
        &["Load station", "Loading station", "Rüstplatz", "Ladestation", "Spannplatz"],
    ),
    of(
        "pressure_set",
        &[Table::Circuits],
        &[
            "Clamping pressure",
            "Operating pressure",
            "Working pressure",
            "Set pressure",
            "Spanndruck",
            "Betriebsdruck",
            "Solldruck",
        ],
    ),
    of(
        "pressure_min",
        &[Table::Circuits],
        &["Lowest pressure", "Min pressure", "p min", "Mindestspanndruck", "Mindestdruck"],
    ),
    of("temp_min", &[Table::Circuits], &["Lowest temperature", "Temperatur min", "Tmin", "T min"]),
    of("temp_max", &[Table::Circuits], &["Highest temperature", "Temperatur max", "Tmax", "T max"]),
    of("temp_charge", &[Table::Circuits], &["Charging temperature", "Spanntemperatur"]),
    of("hold_time", &[Table::Circuits], &["Holding time", "Haltezeit", "Haltedauer"]),
    of("need_date", &[Table::Circuits], &["Needed by", "Due date", "Bedarfstermin", "Bedarfsdatum"]),
    of("pump", &[Table::Stations], &["Power unit", "Pumpe", "Aggregat"]),
    of("drive_ram", &[Table::Stations], &["Ram", "Antriebszylinder", "Druckzylinder"]),
    of("pump_setting", &[Table::Stations], &["Pump pressure", "Pumpendruck"]),
    of("relief_setting", &[Table::Stations], &["Relief pressure", "Sicherheitsdruck"]),
    of(
        "order_no",
        &[Table::Orders],
        &["Order", "Order number", "PO", "Purchase order", "Bestellung", "Bestellnummer", "Bestell-Nr"],
    ),
    of("promised_date", &[Table::Orders], &["Delivery date", "Due date", "Promised", "Liefertermin", "Zugesagt"]),
    of("received", &[Table::Orders], &["Delivered", "Qty received", "Geliefert", "Wareneingang"]),
    of("rule", &[Table::Waivers], &["Regel"]),
    of("reason", &[Table::Waivers], &["Grund", "Begründung"]),
    of("approved_by", &[Table::Waivers], &["Approved", "Genehmigt von", "Freigabe durch"]),
    of("expires", &[Table::Waivers], &["Valid until", "Gültig bis"]),
];

/// Words in the names of files and sheets.
pub(super) const TABLES: &[(Table, &[&str])] = &[
    (Table::Lists, &["bom", "bill", "list of clamps", "stückliste", "stueckliste", "spannliste", "aufbau"]),
    (Table::Components, &["parts", "catalogue", "catalog", "master", "teilestamm", "artikelstamm", "katalog", "teile"]),
    (Table::Circuits, &["circuit data", "service", "kreise", "kreisdaten", "spannkreise"]),
    (Table::Stations, &["load station", "rüstplätze", "ladestationen", "spannplätze"]),
    (Table::Orders, &["purchase", "bestellungen", "bestell"]),
    (Table::Waivers, &["deviation", "freigaben", "abweichungen"]),
];

/// Words of closed sets: the set, its word, what stands for it.
pub(super) const VALUES: &[(&str, &str, &[&str])] = &[
    ("kind", "clamp", &["Swing clamp", "Lever clamp", "Spanner", "Schwenkspanner", "Hebelspanner", "Spannzylinder"]),
    ("kind", "work_support", &["Support", "Abstützelement", "Abstützung"]),
    ("kind", "charging_cylinder", &["Charger", "Füllzylinder", "Ladezylinder"]),
    ("kind", "drive_ram", &["Drive cylinder", "Antriebszylinder", "Druckzylinder"]),
    ("kind", "check_valve", &["Non-return valve", "Rückschlagventil"]),
    ("kind", "isolation_valve", &["Shut-off valve", "Ball valve", "Absperrventil", "Kugelhahn"]),
    ("kind", "relief_valve", &["Pressure relief", "Druckbegrenzungsventil", "Sicherheitsventil"]),
    ("kind", "reducing_valve", &["Pressure reducer", "Druckminderer", "Druckreduzierventil"]),
    ("kind", "sequence_valve", &["Folgeventil", "Zuschaltventil"]),
    ("kind", "flow_control", &["Throttle", "Drossel", "Drosselventil"]),
    ("kind", "accumulator", &["Druckspeicher", "Speicher"]),
    ("kind", "gauge", &["Pressure gauge", "Manometer"]),
    ("kind", "test_point", &["Messanschluss", "Messkupplung"]),
    ("kind", "tube", &["Pipe", "Rohr"]),
    ("kind", "hose", &["Schlauch"]),
    ("kind", "manifold", &["Block", "Verteiler"]),
    ("kind", "fitting", &["Verschraubung"]),
    ("kind", "coupling", &["Kupplung"]),
    ("kind", "pump", &["Pumpe"]),
    ("kind", "other", &["Sonstiges"]),
    ("side", "clamp", &["Spannen", "Spannseite"]),
    ("side", "unclamp", &["Lösen", "Löseseite"]),
    ("side", "both", &["beide", "beidseitig"]),
    ("acting", "single", &["einfach", "einfachwirkend", "single-acting", "EW"]),
    ("acting", "double", &["doppelt", "doppeltwirkend", "double-acting", "DW"]),
    ("charging", "cylinder", &["Charging cylinder", "Zylinder", "Füllzylinder"]),
    ("charging", "coupler", &["Kupplung", "Kuppler"]),
    ("charging", "live", &["ständig", "dauernd"]),
    ("status", "active", &["aktiv"]),
    ("status", "obsolete", &["Auslauf", "ausgelaufen", "veraltet"]),
    ("uom", "each", &["ST", "Stk", "Stück", "pcs", "EA"]),
    ("yes_no", "yes", &["ja", "x", "J"]),
    ("yes_no", "no", &["nein", "N"]),
];

/// Units: what stands for pieces, and other names of units.
pub(super) const UNITS: &[(&str, &[&str])] = &[
    ("each", &["Stk", "Stk.", "Stück", "St", "ST", "ea", "EA", "pc", "pieces"]),
    ("bar", &["bar ü", "barg", "bar(g)"]),
    ("mm2", &["qmm"]),
    ("cm3", &["ccm"]),
];

/// Words of rows that hold sums.
pub(super) const TOTALS: &[&str] =
    &["Summe", "Zwischensumme", "Gesamt", "Gesamtsumme", "Total", "Subtotal", "Sum", "Grand total"];
