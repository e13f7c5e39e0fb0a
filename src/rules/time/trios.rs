//! Each rule of times where it fires, where it stays quiet, and at its limit.

use super::*;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio};

fn clamped_in(seconds: f64) -> Outcome {
    let mut made = TestCircuit::single();
    made.service().clamp_time_max = Some(Time::new(8.0));
    made.figures.clamp_time = Some(Time::new(seconds));
    made.outcome(&T01)
}

fn unclamped_in(seconds: f64) -> Outcome {
    let mut made = TestCircuit::single();
    made.service().unclamp_time_max = Some(Time::new(3.0));
    made.figures.unclamp_time = Some(Time::new(seconds));
    made.outcome(&T02)
}

fn step_of(seconds: f64) -> Outcome {
    let mut made = TestCircuit::single();
    made.fit(Kind::Clamp, "CL", 350.0);
    made.plant.components[0].time_min = Some(Time::new(0.5));
    made.figures.step_times = vec![(1.0, Some(Time::new(0.1))), (2.0, Some(Time::new(seconds)))];
    made.outcome(&T03)
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(&T01, || clamped_in(9.0), || clamped_in(5.0), AtLimit::Quiet(|times| clamped_in(8.0 * times))),
        trio(&T02, || unclamped_in(5.6), || unclamped_in(2.1), AtLimit::Quiet(|times| unclamped_in(3.0 * times))),
        trio(&T03, || step_of(0.3), || step_of(0.6), AtLimit::Quiet(|times| step_of(0.5 * times))),
    ]
}
