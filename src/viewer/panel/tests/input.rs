//! What keys, clicks and drags do.

use super::*;

#[test]
fn the_keys_work_the_clock() {
    let mut fixture = PanelFixture::window();
    fixture.key(Key::Space);
    assert!(fixture.clock.is_playing());
    fixture.key(Key::Space);
    assert!(!fixture.clock.is_playing());
    fixture.key(Key::End);
    assert_eq!(fixture.clock.at_s(), 3.0);
    fixture.key(Key::ArrowLeft);
    assert!((fixture.clock.at_s() - 2.998).abs() < 1e-9);
    fixture.key_with(Key::ArrowLeft, Modifiers::SHIFT);
    assert!((fixture.clock.at_s() - 2.898).abs() < 1e-9);
    fixture.key(Key::Home);
    fixture.key(Key::ArrowRight);
    assert!((fixture.clock.at_s() - 0.002).abs() < 1e-9);
    fixture.key(Key::ArrowDown);
    assert_eq!(fixture.clock.speed(), 0.5);
    fixture.clock.jump(1.0);
    fixture.key(Key::OpenBracket);
    fixture.clock.jump(2.0);
    fixture.key(Key::CloseBracket);
    assert_eq!(fixture.clock.loop_s(), Some([1.0, 2.0]));
    fixture.key(Key::L);
    assert_eq!(fixture.clock.loop_s(), None);
}

#[test]
fn a_key_that_is_held_switches_once_but_steps_on() {
    let mut fixture = PanelFixture::window();
    let held = |key: Key, repeat: bool| Event::Key {
        key,
        physical_key: None,
        pressed: true,
        repeat,
        modifiers: Modifiers::NONE,
    };
    fixture.frame(vec![held(Key::H, false)]);
    for _ in 0..3 {
        fixture.frame(vec![held(Key::H, true)]);
    }
    assert!(fixture.state.help);
    for repeat in [false, true, true] {
        fixture.frame(vec![held(Key::ArrowRight, repeat)]);
    }
    assert!((fixture.clock.at_s() - 0.006).abs() < 1e-9);
}

#[test]
fn the_keys_open_help_and_change_the_view() {
    let mut fixture = PanelFixture::window();
    fixture.key(Key::H);
    fixture.frame(Vec::new());
    assert!(fixture.state.help && fixture.find("one tick back, on").is_some());
    fixture.key(Key::Escape);
    assert!(!fixture.state.help);
    let whole = fixture.orbit;
    fixture.key(Key::Num5);
    assert_eq!(fixture.state.view, View::Pitch);
    assert_ne!(fixture.orbit, whole);
    fixture.frame(Vec::new());
    assert!(fixture.find("play of the gears 60").is_some());
    fixture.key(Key::F);
    fixture.key(Key::F);
    assert_eq!((fixture.state.view, fixture.orbit), (View::Whole, whole));
}

#[test]
fn a_click_on_an_expectation_that_fails_goes_to_its_worst_instant() {
    let mut fixture = PanelFixture::window();
    let worst_s = fixture.timeline.expectations[1]
        .judgement
        .as_ref()
        .unwrap()
        .at_s;
    let line = fixture.find("it never moves").unwrap();
    assert!(line.words.starts_with("FAIL"), "{line:?}");
    let place = line.place.center();
    fixture.click(place);
    assert_eq!(fixture.state.chosen, Some(1));
    assert!((fixture.clock.at_s() - worst_s).abs() < 1e-9);
    assert_eq!(fixture.state.signals, ["pitch.stick_deg"]);
    let detail = fixture.find("worst at").unwrap();
    assert!(
        detail.visible.height() >= detail.place.height() - 1.0,
        "{detail:?}"
    );
    // Another way to the same: the key for the next one that fails.
    let mut other = PanelFixture::window();
    other.key(Key::N);
    assert_eq!(
        (other.state.chosen, other.clock.at_s()),
        (Some(1), fixture.clock.at_s())
    );
    other.key(Key::Escape);
    assert_eq!(other.state.chosen, None);
    assert_eq!(other.state.signals, crate::timeline::USUAL);
}

#[test]
fn a_drag_on_a_plot_scrubs_and_with_shift_draws_a_loop() {
    let mut fixture = PanelFixture::window();
    let title = fixture.find("pitch angle, deg").unwrap().place;
    let at = |x: f32| pos2(x, title.bottom() + 50.0);
    fixture.frame(vec![Event::PointerMoved(at(900.0))]);
    fixture.pointer(at(900.0), true, Modifiers::NONE);
    fixture.frame(vec![Event::PointerMoved(at(1000.0))]);
    fixture.pointer(at(1100.0), false, Modifiers::NONE);
    let scrubbed = fixture.clock.at_s();
    assert!(scrubbed > 0.5 && scrubbed < 2.9, "{scrubbed}");
    fixture.frame(vec![Event::PointerMoved(at(900.0))]);
    fixture.pointer(at(900.0), true, Modifiers::SHIFT);
    for x in [940.0, 1000.0, 1060.0] {
        let moved = vec![Event::PointerMoved(at(x))];
        fixture.frame(moved);
    }
    fixture.pointer(at(1060.0), false, Modifiers::SHIFT);
    let [from_s, to_s] = fixture.clock.loop_s().unwrap();
    assert!(to_s - from_s > 0.3 && to_s < 3.0, "{from_s} {to_s}");
}

#[test]
fn a_drag_in_the_scene_turns_the_camera_and_the_wheel_zooms() {
    let mut fixture = PanelFixture::window();
    let before = fixture.orbit;
    let place = pos2(300.0, 300.0);
    fixture.frame(vec![Event::PointerMoved(place)]);
    fixture.pointer(place, true, Modifiers::NONE);
    fixture.frame(vec![Event::PointerMoved(place + vec2(60.0, 20.0))]);
    fixture.pointer(place + vec2(60.0, 20.0), false, Modifiers::NONE);
    assert!(
        (fixture.orbit.around - before.around).abs() > 0.1 && fixture.orbit.above > before.above
    );
    fixture.frame(vec![Event::MouseWheel {
        unit: egui::MouseWheelUnit::Point,
        delta: vec2(0.0, 120.0),
        phase: egui::TouchPhase::Move,
        modifiers: Modifiers::NONE,
    }]);
    for _ in 0..20 {
        fixture.frame(Vec::new());
    }
    assert!(fixture.orbit.distance < before.distance);
}

#[test]
fn a_trace_that_is_to_come_says_so() {
    let timeline = Timeline::new(
        rig("kittiwake"),
        Some(std::sync::Arc::new(pushed_scenario())),
        SourceState::Reading,
    );
    let fixture = PanelFixture::new(timeline, vec2(1280.0, 720.0), Arrangement::Window);
    assert!(fixture.find("reading the trace").is_some());
    assert!(fixture.find("to come").is_some());
}

#[test]
fn the_part_of_the_time_that_is_shown_stays_within_the_run() {
    let timeline = pushed("kittiwake");
    let mut state = PanelState::new(Vec::new(), View::Whole, Arrangement::Window);
    assert_eq!(state.shown_s(&timeline), [0.0, 3.0]);
    state.zoom(&timeline, 2.9, 3.0);
    let [from_s, to_s] = state.shown_s(&timeline);
    assert!((to_s - from_s - 1.0).abs() < 1e-9 && to_s <= 3.0 && from_s <= 2.9);
    state.pan(&timeline, 50.0);
    assert!((state.shown_s(&timeline)[1] - 3.0).abs() < 1e-9);
    state.follow(&timeline, 0.5);
    let [from_s, to_s] = state.shown_s(&timeline);
    assert!(from_s <= 0.5 && to_s >= 0.5);
    state.zoom(&timeline, 1.0, 1e-9);
    assert_eq!(state.range_s, None);
}
