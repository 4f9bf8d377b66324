//! The app without window and renderer: news come in, the clock goes on, the scene follows.

use std::sync::Arc;
use std::time::{Duration, Instant};

use bevy::asset::AssetPlugin;
use bevy::prelude::*;
use bevy::time::TimeUpdateStrategy;
use trimproof_harness::run::{LogicTarget, run_scenario};

use crate::app::{Beginning, core};
use crate::panel::Arrangement;
use crate::scene::Shown;
use crate::source::{Source, SourceThread};
use crate::timeline::tests::{pushed_scenario, rig};
use crate::timeline::{Clock, SourceState, Timeline};
use crate::{Timing, View};

fn app() -> App {
    let scenario = Arc::new(pushed_scenario());
    let rig = rig("kittiwake");
    let source = Source::Run {
        scenario: Arc::clone(&scenario),
        target: Box::new(|| Box::new(LogicTarget::new())),
    };
    let source = SourceThread::start(Arc::clone(&rig), source);
    let mut app = App::new();
    app.add_plugins((MinimalPlugins, AssetPlugin::default()))
        .init_asset::<Mesh>()
        .init_asset::<StandardMaterial>()
        .insert_resource(TimeUpdateStrategy::ManualDuration(Duration::from_millis(
            50,
        )));
    core(
        &mut app,
        Beginning {
            timeline: Timeline::new(rig, Some(scenario), SourceState::Running),
            signals: Vec::new(),
            view: View::Whole,
            speed: 1.0,
            arrangement: Arrangement::Window,
            source: Some(source),
            begun: Instant::now(),
        },
    );
    app
}

/// The app of a window, without the window, shows the same trace as a run without any app.
#[test]
fn a_run_that_is_watched_has_the_hash_of_one_that_is_not() {
    let mut app = app();
    let begun = Instant::now();
    while app.world().resource::<SourceThread>().finished.is_none() {
        app.update();
        assert!(
            begun.elapsed() < Duration::from_secs(300),
            "the run does not end"
        );
    }
    let alone = run_scenario(
        &rig("kittiwake"),
        &pushed_scenario(),
        &mut LogicTarget::new(),
        &mut |_| true,
    );
    let finished = app
        .world()
        .resource::<SourceThread>()
        .finished
        .clone()
        .unwrap();
    assert_eq!(finished.hash, alone.trace.hash());
    assert_eq!(
        app.world().resource::<Timeline>().trace.hash(),
        alone.trace.hash()
    );
}

#[test]
fn the_scene_follows_the_clock_to_the_end() {
    let mut app = app();
    let mut last_s = -1.0;
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(300) {
        app.update();
        let at_s = app.world().resource::<Clock>().at_s();
        assert!(at_s >= last_s);
        last_s = at_s;
        if let Some(instant) = &app.world().resource::<Shown>().0 {
            assert!(
                (instant.at_s - at_s).abs() < 0.0021,
                "{} {at_s}",
                instant.at_s
            );
        }
        if !app.world().resource::<Clock>().is_playing() {
            break;
        }
    }
    assert_eq!(last_s, 3.0);
    let timing = app.world().resource::<Timing>();
    assert!(timing.first_trace_s.is_some() && timing.own.count > 10);
}
