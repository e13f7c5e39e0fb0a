//! Rows about uncertainty: propagation, draws at random, conformity.

use std::collections::BTreeMap;

use clampbook::physics::draws::{Draws, Sample};
use clampbook::physics::propagation::{
    REACH, combined_uncertainty, contribution, curvature, margin, probability_of_conformity,
};

use super::row::Row;

/// What the named formula gives.
pub fn uncertain(row: &Row) -> Option<f64> {
    Some(match row.function.as_str() {
        "contribution" if row.text("model").is_some() => propagated(row),
        "contribution" => contribution(row.get("value"), row.get("above"), row.get("below")),
        "curvature" => curvature(row.get("value"), row.get("above"), row.get("below")),
        "margin" => margin(row.get("slack"), row.get("u")),
        "probability_of_conformity" => {
            let within = |name| probability_of_conformity(row.get(name), row.get("u"));
            // Beside a second limit both are kept where neither is missed.
            within("slack") + row.maybe("other").map_or(0.0, |_| within("other") - 1.0)
        }
        "combined_uncertainty" => propagated(row),
        "bits" => {
            let mut draws = Draws::of(whole(row, "seed"));
            let values = (0..=whole(row, "number")).map(|_| draws.bits());
            #[allow(clippy::cast_precision_loss, reason = "the tolerance is that of the loss")]
            values.last().map_or(f64::NAN, |bits| bits as f64)
        }
        "deviate" => {
            let mut draws = Draws::of(whole(row, "seed"));
            (0..=whole(row, "number")).map(|_| draws.deviate()).last()?
        }
        "standard_deviation" => sample(row).standard_deviation(),
        "share_within" => sample(row).share_within(),
        _ => return None,
    })
}

fn whole(row: &Row, name: &str) -> u64 {
    row.text(name).and_then(|text| text.parse().ok()).unwrap_or_else(|| panic!("{}: no {name}", row.place))
}

fn sample(row: &Row) -> Sample {
    let mut sample = Sample::default();
    if row.text("model") == Some("sum_of_four") {
        let mut draws = Draws::of(whole(row, "seed"));
        (0..whole(row, "draws")).for_each(|_| sample.add((0..4).map(|_| draws.deviate()).sum()));
        return sample;
    }
    let numbers = row.text("sample").unwrap_or_default().split(' ');
    numbers.for_each(|number| sample.add(number.parse().unwrap_or(f64::NAN)));
    sample
}

/// u_c of a model by moving each datum by itself.
fn propagated(row: &Row) -> f64 {
    let names: &[&str] = match row.text("model") {
        Some("end_gauge") => &["l_s", "d", "delta_alpha", "theta", "alpha_s", "delta_theta"],
        Some("squares") => &["x", "y"],
        Some("lognormal") => &["x"],
        Some("resistance" | "reactance" | "impedance") => return correlated(row),
        _ => &["x", "y", "z"],
    };
    let at: BTreeMap<&str, f64> = names.iter().map(|name| (*name, row.get(name))).collect();
    let moved = |name: &str, deviates: f64| {
        let mut data = at.clone();
        *data.get_mut(name).unwrap() += deviates * row.get(&format!("u_{name}"));
        model(row, &data)
    };
    let here = model(row, &at);
    combined_uncertainty(names.iter().map(|name| contribution(here, moved(name, REACH), moved(name, -REACH))))
}

fn model(row: &Row, data: &BTreeMap<&str, f64>) -> f64 {
    let of = |name: &str| data[name];
    match row.text("model") {
        Some("end_gauge") => {
            of("l_s") + of("d") - of("l_s") * (of("delta_alpha") * of("theta") + of("alpha_s") * of("delta_theta"))
        }
        Some("squares") => of("x").powi(2) + of("y").powi(2),
        Some("lognormal") => of("x").exp(),
        Some("product") => of("x") * of("y") * of("z"),
        Some("quotient") => (of("x") + of("y")) / of("z"),
        Some("compression") => of("x") * (1.0 - (-of("y") / of("z")).exp()),
        Some("wall") => {
            let (inner, outer) = (of("x") * of("x"), of("y") * of("y"));
            of("z") * (outer - inner) / (outer + inner)
        }
        other => panic!("{}: no model {other:?}", row.place),
    }
}

/// Voltage, current and phase are made of three deviates that know nothing of each other, so that their
/// correlations come out: one datum that enters in several places.
fn correlated(row: &Row) -> f64 {
    let (r_vi, r_vphi, r_iphi) = (row.get("r_vi"), row.get("r_vphi"), row.get("r_iphi"));
    let of_i = (1.0 - r_vi * r_vi).sqrt();
    let shared = (r_iphi - r_vi * r_vphi) / of_i;
    let own = (1.0 - r_vphi * r_vphi - shared * shared).sqrt();
    let figure = |z: [f64; 3]| {
        let v = row.get("v") + row.get("u_v") * z[0];
        let i = row.get("i") + row.get("u_i") * (r_vi * z[0] + of_i * z[1]);
        let phi = row.get("phi") + row.get("u_phi") * (r_vphi * z[0] + shared * z[1] + own * z[2]);
        match row.text("model") {
            Some("resistance") => v / i * phi.cos(),
            Some("reactance") => v / i * phi.sin(),
            _ => v / i,
        }
    };
    combined_uncertainty((0..3).map(|datum| {
        let moved = |deviates: f64| {
            let mut z = [0.0; 3];
            z[datum] = deviates;
            figure(z)
        };
        contribution(moved(0.0), moved(REACH), moved(-REACH))
    }))
}
