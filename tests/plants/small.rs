//! A plant of one circuit that conforms, and nothing stands beside its verdict.

use std::fs;
use std::path::Path;

pub const LIST: &str = "pallet,fixture,circuit,position,part_no,qty,force_required,length,zone,supports\n\
    A,f,1,CC,CC96,1,,,,\n\
    A,f,1,CV,CV,1,,,,\n\
    A,f,1,IV,IV,1,,,,\n\
    A,f,1,G,GA,1,,,,\n\
    A,f,1,C1,CL20,4,3000,,,\n\
    A,f,1,T,TU8,1,,1200,,\n";
pub const PARTS: &str = "part_no,kind,rated_pressure,area_clamp,stroke,leak,return_pressure,force_ratio,capacity,\
    piston_area,return_loss,pressure_ratio,full_scale,inner_diameter,includes,dead_volume,stiffness\n\
    CL20,clamp,230,420,10,3.333e-05,3,0.9,,,,,,,,0.4,70000\n\
    CC96,charging_cylinder,250,,,,,,120,1250,3,0.5,,,,2,\n\
    CV,check_valve,350,,,6.67e-06,,,,,,,,,,0.5,\n\
    IV,isolation_valve,350,,,1e-05,,,,,,,,,,0.6,\n\
    GA,gauge,250,,,0,,,,,,,250,,,0.2,\n\
    TU8,tube,300,,,,,,,,,,,5,,,\n\
    FT,fitting,300,,,,,,,,,,,,,,\n\
    OT,pump,345,,,,,,400,,,,,,,,\n\
    BO,drive_ram,350,,80,,,,,625,,,,,,,\n";
pub const STATIONS: &str = "station,pump,drive_ram,pump_setting\nS1,OT,BO,326\n";
pub const CIRCUITS: &str = "pallet,fixture,circuit,station,pressure_set,pressure_min,temp_charge,temp_min,temp_max,hold_time\n\
    A,f,1,S1,160,85,21,18,25,480\n";
pub const POLICY: &str = "date = \"2026-11-25\"\n";

/// Writes the plant with some files written otherwise.
pub fn write(plant: &Path, files: &[(&str, &str)]) {
    fs::create_dir_all(plant.join("lists")).unwrap();
    let basis = [
        ("lists/l.csv", LIST),
        ("components.csv", PARTS),
        ("stations.csv", STATIONS),
        ("circuits.csv", CIRCUITS),
        ("policy.toml", POLICY),
    ];
    for (name, text) in basis.iter().chain(files) {
        fs::write(plant.join(name), text).unwrap();
    }
}
