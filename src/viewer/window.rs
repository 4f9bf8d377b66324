//! The window.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Instant;

use bevy::prelude::*;
use bevy::window::{ExitSystems, PresentMode, WindowResolution};
use trimproof_harness::rig::RigFile;

use crate::app::{Beginning, Quality, core, drawn, engine};
use crate::panel::{Arrangement, PanelState};
use crate::screen::{self, GraphicsDriver};
use crate::source::{Finished, Session, Source, SourceThread};
use crate::timeline::{Clock, SignalName, SourceState, Timeline};
use crate::timing::Timing;
use crate::{View, ViewError};

/// Saves a flight; gives the message for the user, or why it could not be saved.
pub type Save = Box<dyn Fn(&Session) -> Result<String, String> + Send + Sync>;

/// What to show in a window, and how.
pub struct Watch {
    /// The rig.
    pub rig: Arc<RigFile>,
    /// Where the trace comes from.
    pub source: Source,
    /// Times real time, 0.05 to 4.
    pub speed: f64,
    /// The view to begin with.
    pub view: View,
    /// Signals in the plots; none for the usual ones.
    pub signals: Vec<SignalName>,
    /// Size of the window, px.
    pub size: [u32; 2],
    /// Begin paused at this instant, s.
    pub at_s: Option<f64>,
    /// Close by itself after so many seconds of real time.
    pub close_after_s: Option<f64>,
    /// What will be done with a flight without another question, for the user; then there is no
    /// button for it.
    pub promise: Option<String>,
    /// Saves a flight.
    pub save: Option<Save>,
    /// Set from outside (Ctrl-C): the window closes, the run is stopped.
    pub stop: &'static AtomicBool,
    /// When the program began.
    pub begun: Instant,
}

/// What became of it.
#[derive(Clone, Debug)]
pub struct WindowSeen {
    /// How the run ended; `None` if the window closed before it had.
    pub finished: Option<Finished>,
    /// Why there was no trace.
    pub failed: Option<String>,
    /// What it cost.
    pub timing: Timing,
    /// Bytes of trace and plots at the end, about.
    pub bytes: usize,
}

/// Opens a window and comes back when it is closed.
///
/// # Errors
/// There is no display, no driver, or the trace cannot be read.
pub fn watch(watch: Watch) -> Result<WindowSeen, ViewError> {
    // Kept until the window is there: a server may restart when its last client goes.
    let _display = screen::open_display()?;
    let quality = match screen::find_driver()? {
        GraphicsDriver::Card => Quality::Full,
        // A window that answers late is worse than one without shadows.
        GraphicsDriver::Processor => Quality::Plain,
    };
    let state = match &watch.source {
        Source::File { .. } => SourceState::Reading,
        Source::Run { .. } | Source::Fly { .. } => SourceState::Running,
    };
    let seen = Arc::new(Mutex::new(None));
    let title = format!("trimproof: {}", watch.rig.title);
    let timeline = Timeline::new(
        Arc::clone(&watch.rig),
        watch.source.scenario().cloned(),
        state,
    );
    let source = SourceThread::start(watch.rig, watch.source);
    let mut app = App::new();
    app.add_plugins(engine().set(WindowPlugin {
        primary_window: Some(Window {
            title,
            resolution: WindowResolution::new(watch.size[0], watch.size[1]),
            present_mode: PresentMode::AutoVsync,
            ..default()
        }),
        ..default()
    }));
    let beginning = Beginning {
        timeline,
        signals: watch.signals,
        view: watch.view,
        speed: watch.speed,
        arrangement: Arrangement::Window,
        source: Some(source),
        begun: watch.begun,
    };
    core(&mut app, beginning);
    drawn(&mut app, None, quality);
    app.world_mut().resource_mut::<PanelState>().promise = watch.promise;
    app.insert_resource(Out(Arc::clone(&seen)))
        .insert_resource(WindowStart {
            at_s: watch.at_s,
            close_after_s: watch.close_after_s,
            stop: watch.stop,
        })
        .insert_resource(Saver(watch.save))
        .add_systems(Update, (begin_at, close_in_time, save_flight, fail))
        .add_systems(Last, say_goodbye.after(ExitSystems));
    app.run();
    let seen = seen.lock().ok().and_then(|mut seen| seen.take());
    match seen {
        Some(WindowSeen {
            failed: Some(why), ..
        }) => Err(ViewError::NoTrace(why)),
        Some(seen) => Ok(seen),
        None => Err(ViewError::NoDisplay("the window did not open".to_owned())),
    }
}

#[derive(Resource)]
struct Out(Arc<Mutex<Option<WindowSeen>>>);

#[derive(Resource)]
struct WindowStart {
    at_s: Option<f64>,
    close_after_s: Option<f64>,
    stop: &'static AtomicBool,
}

#[derive(Resource)]
struct Saver(Option<Save>);

/// Jumps to where the user wants to begin as soon as the trace reaches so far.
fn begin_at(mut start: ResMut<WindowStart>, mut clock: ResMut<Clock>, timeline: Res<Timeline>) {
    let Some(at_s) = start.at_s else { return };
    let complete = !matches!(
        timeline.source_state,
        SourceState::Reading | SourceState::Running
    );
    if clock.head_s() >= at_s || complete {
        clock.pause();
        clock.jump(at_s);
        start.at_s = None;
    }
}

fn close_in_time(start: Res<WindowStart>, timing: Res<Timing>, mut exit: MessageWriter<AppExit>) {
    let is_late = start
        .close_after_s
        .is_some_and(|after_s| timing.elapsed_s() >= after_s);
    if is_late || start.stop.load(Ordering::Relaxed) {
        exit.write(AppExit::Success);
    }
}

/// A trace that cannot be read ends the window; the error is printed where the command was given.
fn fail(timeline: Res<Timeline>, mut exit: MessageWriter<AppExit>) {
    if matches!(timeline.source_state, SourceState::Failed(_)) {
        exit.write(AppExit::Success);
    }
}

fn save_flight(mut panel_state: ResMut<PanelState>, source: Res<SourceThread>, saver: Res<Saver>) {
    if !panel_state.save {
        return;
    }
    panel_state.save = false;
    panel_state.note = match (source.session(), &saver.0) {
        (Some(session), Some(save)) => Some(match save(session) {
            Ok(message) => message,
            Err(why) => format!("not saved: {why}"),
        }),
        _ => None,
    };
}

/// When the app ends: the run is stopped, and what is known goes out.
fn say_goodbye(
    mut exits: MessageReader<AppExit>,
    mut source: ResMut<SourceThread>,
    mut timeline: ResMut<Timeline>,
    timing: Res<Timing>,
    out: Res<Out>,
) {
    if exits.read().next().is_none() {
        return;
    }
    source.end(&mut timeline);
    let failed = match &timeline.source_state {
        SourceState::Failed(why) => Some(why.clone()),
        _ => None,
    };
    if let Ok(mut out) = out.0.lock() {
        *out = Some(WindowSeen {
            finished: source.finished.clone(),
            failed,
            timing: timing.clone(),
            bytes: timeline.bytes(),
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timeline::tests::{pushed_scenario, rig};
    use bevy::asset::AssetPlugin;
    use bevy::window::WindowCloseRequested;
    use trimproof_harness::run::LogicTarget;

    /// The window's own button: the last update, which no other follows, hands over what was seen.
    #[test]
    fn closing_the_window_by_its_button_loses_nothing() {
        let scenario = Arc::new(pushed_scenario());
        let rig = rig("kittiwake");
        let source = Source::Run {
            scenario: Arc::clone(&scenario),
            target: Box::new(|| Box::new(LogicTarget::new())),
        };
        let mut app = App::new();
        app.add_plugins((
            MinimalPlugins,
            AssetPlugin::default(),
            WindowPlugin::default(),
        ))
        .init_asset::<Mesh>()
        .init_asset::<StandardMaterial>();
        let beginning = Beginning {
            timeline: Timeline::new(Arc::clone(&rig), Some(scenario), SourceState::Running),
            signals: Vec::new(),
            view: View::Whole,
            speed: 1.0,
            arrangement: Arrangement::Window,
            source: Some(SourceThread::start(rig, source)),
            begun: Instant::now(),
        };
        core(&mut app, beginning);
        let out = Arc::new(Mutex::new(None));
        app.insert_resource(Out(Arc::clone(&out)))
            .add_systems(Last, say_goodbye.after(ExitSystems));
        app.update();
        assert!(out.lock().unwrap().is_none() && app.should_exit().is_none());
        let mut windows = app.world_mut().query_filtered::<Entity, With<Window>>();
        let window = windows.single(app.world()).unwrap();
        app.world_mut()
            .write_message(WindowCloseRequested { window });
        // The window goes in one update or in two, as bevy likes; the one that ends the app must
        // hand over what was seen.
        for _ in 0..4 {
            if app.should_exit().is_some() {
                break;
            }
            app.update();
        }
        assert!(app.should_exit().is_some());
        let seen: Option<WindowSeen> = out.lock().unwrap().take();
        assert!(seen.unwrap().finished.is_some());
    }
}
