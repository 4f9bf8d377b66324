//! The panels without a window: what they draw, and what keys and clicks do.

mod input;

use bevy_egui::egui::{
    self, Event, Key, Modifiers, PointerButton, Pos2, RawInput, Shape, pos2, vec2,
};

use trimproof_io::State;

use super::*;
use crate::camera::View;
use crate::look;
use crate::timeline::SourceState;
use crate::timeline::tests::{pushed, pushed_scenario, pushed_without_telemetry, rig};

/// A text as it was drawn: what, how high its letters are, where.
#[derive(Clone, Debug)]
struct Text {
    words: String,
    size: f32,
    place: egui::Rect,
    visible: egui::Rect,
}

/// Panels over a timeline, with a context of their own.
struct PanelFixture {
    context: egui::Context,
    timeline: Timeline,
    clock: Clock,
    state: PanelState,
    orbit: Orbit,
    layout: Layout,
    size: egui::Vec2,
    time_s: f64,
    texts: Vec<Text>,
}

impl PanelFixture {
    fn new(timeline: Timeline, size: egui::Vec2, arrangement: Arrangement) -> Self {
        let context = egui::Context::default();
        look::decorate(&context);
        let layout = Layout::of(&timeline.rig);
        let mut clock = Clock::new(1.0, timeline.tick_s());
        clock.see(timeline.head_s(), false);
        clock.pause();
        let mut fixture = Self {
            context,
            state: PanelState::new(Vec::new(), View::Whole, arrangement),
            orbit: Orbit::of(View::Whole, &layout, &timeline.travel),
            clock,
            layout,
            timeline,
            size,
            time_s: 0.0,
            texts: Vec::new(),
        };
        // Panels find their places in the first frames.
        for _ in 0..3 {
            fixture.frame(Vec::new());
        }
        fixture
    }

    fn window() -> Self {
        Self::new(
            pushed("kittiwake"),
            vec2(1280.0, 720.0),
            Arrangement::Window,
        )
    }

    fn frame(&mut self, events: Vec<Event>) {
        self.time_s += 1.0 / 60.0;
        let with = events.iter().find_map(|event| match event {
            Event::Key { modifiers, .. } | Event::PointerButton { modifiers, .. } => {
                Some(*modifiers)
            }
            _ => None,
        });
        let mut events = events;
        if let Some(with) = with {
            events.insert(0, Event::ModifiersChanged(with));
        }
        self.context.begin_pass(RawInput {
            screen_rect: Some(egui::Rect::from_min_size(Pos2::ZERO, self.size)),
            time: Some(self.time_s),
            events,
            focused: true,
            ..RawInput::default()
        });
        let instant = self.timeline.instant(self.clock.at_s());
        show(
            &self.context,
            &mut Panels {
                timeline: &mut self.timeline,
                clock: &mut self.clock,
                state: &mut self.state,
                orbit: &mut self.orbit,
                layout: &self.layout,
                instant: instant.as_ref(),
                source: None,
            },
        );
        let mut drawn = self.context.end_pass();
        // No renderer takes them.
        drawn.textures_delta.clear();
        self.texts.clear();
        for clipped in drawn.shapes {
            collect(&clipped.shape, clipped.clip_rect, &mut self.texts);
        }
    }

    fn key(&mut self, key: Key) {
        self.key_with(key, Modifiers::NONE);
    }

    fn key_with(&mut self, key: Key, modifiers: Modifiers) {
        for pressed in [true, false] {
            self.frame(vec![Event::Key {
                key,
                physical_key: None,
                pressed,
                repeat: false,
                modifiers,
            }]);
        }
    }

    fn pointer(&mut self, place: Pos2, pressed: bool, modifiers: Modifiers) {
        self.frame(vec![
            Event::PointerMoved(place),
            Event::PointerButton {
                pos: place,
                button: PointerButton::Primary,
                pressed,
                modifiers,
            },
        ]);
    }

    fn click(&mut self, place: Pos2) {
        self.frame(vec![Event::PointerMoved(place)]);
        self.pointer(place, true, Modifiers::NONE);
        self.pointer(place, false, Modifiers::NONE);
        self.frame(Vec::new());
    }

    fn find(&self, words: &str) -> Option<&Text> {
        self.texts.iter().find(|text| text.words.contains(words))
    }
}

fn collect(shape: &Shape, clip: egui::Rect, texts: &mut Vec<Text>) {
    match shape {
        Shape::Vec(shapes) => shapes.iter().for_each(|shape| collect(shape, clip, texts)),
        Shape::Text(text) => {
            let sizes = text
                .galley
                .job
                .sections
                .iter()
                .map(|section| section.format.font_id.size);
            let place = text.galley.rect.translate(text.pos.to_vec2());
            if text.galley.job.text.trim().is_empty() || !clip.intersects(place) {
                return;
            }
            texts.push(Text {
                words: text.galley.job.text.clone(),
                size: sizes.fold(f32::MAX, f32::min),
                place,
                visible: clip.intersect(place),
            });
        }
        _ => {}
    }
}

/// Sizes of windows and pictures that must work.
const WINDOWS: [egui::Vec2; 4] = [
    vec2(900.0, 500.0),
    vec2(1280.0, 720.0),
    vec2(1920.0, 1080.0),
    vec2(3840.0, 2160.0),
];
const PICTURES: [egui::Vec2; 4] = [
    vec2(640.0, 360.0),
    vec2(1280.0, 720.0),
    vec2(480.0, 480.0),
    vec2(1920.0, 1080.0),
];

#[test]
fn no_text_is_too_small_or_outside() {
    let windows = WINDOWS.map(|size| (size, Arrangement::Window));
    let pictures = PICTURES.map(|size| (size, Arrangement::Picture));
    for (size, arrangement) in windows.into_iter().chain(pictures) {
        for rig in ["kittiwake", "bittern"] {
            let mut fixture = PanelFixture::new(pushed(rig), size, arrangement);
            fixture.clock.jump(1.8);
            fixture.state.help = arrangement == Arrangement::Window;
            fixture.frame(Vec::new());
            fixture.frame(Vec::new());
            assert!(fixture.texts.len() > 5, "{size:?}: {}", fixture.texts.len());
            let screen = egui::Rect::from_min_size(Pos2::ZERO, size).expand(1.0);
            for text in &fixture.texts {
                assert!(text.size >= look::LEAST_TEXT, "{size:?} {text:?}");
                // Lists may be scrolled, long lines end in dots; across, nothing may be cut off.
                let across =
                    text.place.left() >= screen.left() && text.place.right() <= screen.right();
                assert!(across, "{size:?} {text:?}");
            }
        }
    }
}

/// What stands in the strip and over the scene must be there whole, not cut off by an edge.
#[test]
fn nothing_that_matters_is_clipped() {
    for size in PICTURES {
        let mut fixture = PanelFixture::new(pushed("kittiwake"), size, Arrangement::Picture);
        fixture.clock.jump(1.8);
        fixture.frame(Vec::new());
        let row = fixture.timeline.row_at(1.8).unwrap();
        let state = fixture.timeline.trace.state(row).unwrap().name();
        let [pitch_deg, _] = fixture.timeline.instant(1.8).unwrap().stick_deg();
        // The angle stands in the strip, and at its scale.
        let pitch = format!("pitch +{pitch_deg:.2}\u{b0}");
        for words in [state, " V", "hand 8.0 N", "1.800 s", "load of", &pitch] {
            let text = fixture
                .find(words)
                .unwrap_or_else(|| panic!("`{words}` is missing at {size:?}"));
            assert!(
                text.visible.width() >= text.place.width() - 1.0
                    && text.visible.height() >= text.place.height() - 1.0,
                "{size:?} {text:?}"
            );
        }
    }
}

/// A run that the twin could not compute says so in the strip, and why over the scene, whole and in
/// every picture.
#[test]
fn an_aborted_run_says_why() {
    let why = "upper pitch stop at 1.234500 s: it would have broken: pressed with `5000.0` N, it stands `3000.0` N";
    for size in PICTURES {
        let mut timeline = pushed("kittiwake");
        timeline.take_judgements(&[]);
        timeline.source_state = SourceState::Aborted(why.to_owned());
        let mut fixture = PanelFixture::new(timeline, size, Arrangement::Picture);
        fixture.clock.jump(1.8);
        fixture.frame(Vec::new());
        let words = format!("aborted, nothing is judged: {why}");
        let text = fixture.find(&words).unwrap_or_else(|| panic!("{size:?}"));
        assert!(
            fixture.state.scene.contains_rect(text.place),
            "{size:?} {text:?}"
        );
        // Nothing else stands on it.
        let other = fixture
            .texts
            .iter()
            .find(|other| other.words != words && other.place.shrink(0.5).intersects(text.place));
        assert!(other.is_none(), "{size:?} {other:?}");
        let in_strip = fixture.texts.iter().any(|text| text.words == "aborted");
        assert!(in_strip, "{size:?}");
    }
}

/// The words of the strip stand side by side, however narrow the picture is.
#[test]
fn the_strip_has_room_for_its_words() {
    for size in PICTURES.into_iter().chain(WINDOWS) {
        let arrangement = if size.x < 1000.0 {
            Arrangement::Picture
        } else {
            Arrangement::Window
        };
        let mut fixture = PanelFixture::new(pushed("kittiwake"), size, arrangement);
        fixture.clock.jump(1.8);
        fixture.frame(Vec::new());
        let strip: Vec<&Text> = fixture
            .texts
            .iter()
            .filter(|text| text.place.bottom() < 28.0)
            .collect();
        assert!(strip.len() >= 3, "{size:?} {strip:?}");
        for (index, one) in strip.iter().enumerate() {
            for other in &strip[..index] {
                assert!(
                    !one.visible.shrink(0.5).intersects(other.visible),
                    "{size:?} {one:?} {other:?}"
                );
            }
        }
    }
}

/// Directions, motors, the angle scale with its numbers, and what was there before: all is named,
/// whole, and apart.
#[test]
fn labels_over_the_scene_are_clear_of_each_other() {
    for (rig, size) in [
        ("bittern", PICTURES[0]),
        ("kittiwake", PICTURES[0]),
        ("bittern", PICTURES[3]),
    ] {
        for view in [View::Across, View::Whole, View::Left] {
            let mut fixture = PanelFixture::new(pushed(rig), size, Arrangement::Picture);
            fixture.state.view = view;
            fixture.orbit = Orbit::of(view, &fixture.layout, &fixture.timeline.travel);
            fixture.clock.jump(2.1);
            fixture.frame(Vec::new());
            let scene = fixture.state.scene;
            let labels: Vec<&Text> = fixture
                .texts
                .iter()
                .filter(|text| scene.expand(0.5).contains_rect(text.place))
                .collect();
            for words in [
                "hand ",
                "load of",
                "fore",
                "aft",
                "pitch motor",
                "roll motor",
                "pitch +",
            ] {
                assert!(
                    labels.iter().any(|label| label.words.starts_with(words)),
                    "{rig} {size:?} {view:?}: no `{words}` in {labels:?}"
                );
            }
            // Stops, zero: the scale has its numbers.
            let stops = &fixture.timeline.rig.pitch.stops;
            for deg in [stops.min_deg, 0.0, stops.max_deg] {
                let number = super::scale::signed(deg, 0);
                assert!(
                    labels.iter().any(|label| label.words == number),
                    "{rig} {size:?} {view:?}: no `{number}`"
                );
            }
            // Seen from the left, left and right are one behind the other: neither is named.
            let has_left = labels.iter().any(|label| label.words == "left");
            assert_eq!(has_left, view == View::Whole, "{rig} {size:?} {view:?}");
            for (index, one) in labels.iter().enumerate() {
                let other = labels[..index]
                    .iter()
                    .find(|other| other.place.shrink(0.5).intersects(one.place));
                assert!(
                    other.is_none(),
                    "{rig} {size:?} {view:?}: {one:?} {other:?}"
                );
            }
        }
    }
}

/// A controller that reports nothing: no state, no trimmed position, no fault, and everything else
/// as ever.
#[test]
fn a_trace_without_telemetry_is_shown() {
    let windows = WINDOWS.map(|size| (size, Arrangement::Window));
    let pictures = PICTURES.map(|size| (size, Arrangement::Picture));
    for (size, arrangement) in windows.into_iter().chain(pictures) {
        let timeline = pushed_without_telemetry("kittiwake");
        let mut fixture = PanelFixture::new(timeline, size, arrangement);
        for view in View::ALL {
            fixture.state.view = view;
            fixture.orbit = Orbit::of(view, &fixture.layout, &fixture.timeline.travel);
            fixture.clock.jump(1.8);
            fixture.frame(Vec::new());
            fixture.frame(Vec::new());
            assert!(fixture.texts.len() > 3, "{size:?} {view:?}");
            for text in &fixture.texts {
                let words = text.words.as_str();
                let is_state = State::ALL.iter().any(|state| state.name() == words);
                let is_missing = ["trimmed", "reference", "fault"]
                    .iter()
                    .any(|word| words.contains(word));
                assert!(!is_state && !is_missing, "{size:?} {view:?}: {text:?}");
            }
        }
    }
}

/// Only what the trace has can be chosen.
#[test]
fn the_chooser_lists_the_signals_of_the_trace() {
    for (timeline, is_reported) in [
        (pushed("kittiwake"), true),
        (pushed_without_telemetry("kittiwake"), false),
    ] {
        let size = vec2(3840.0, 2160.0);
        let mut fixture = PanelFixture::new(timeline, size, Arrangement::Window);
        fixture.key(Key::S);
        for _ in 0..3 {
            fixture.frame(Vec::new());
        }
        assert!(fixture.find("pitch.stick_deg").is_some());
        assert_eq!(
            fixture.find("pitch.reference_deg").is_some(),
            is_reported,
            "{is_reported}"
        );
    }
}

/// An expectation that is not judged says why; a click on it does not move the clock.
#[test]
fn an_expectation_that_is_not_judged_says_why() {
    let size = vec2(1920.0, 1080.0);
    let timeline = pushed_without_telemetry("kittiwake");
    let mut fixture = PanelFixture::new(timeline, size, Arrangement::Window);
    let strip = fixture.find("expectations pass");
    assert_eq!(
        strip.map(|text| text.words.as_str()),
        Some("0 of 2 expectations pass, 1 not judged")
    );
    let line = fixture.find("it holds").unwrap();
    assert!(line.words.starts_with("not judged"), "{line:?}");
    let place = line.place.center();
    fixture.clock.jump(2.5);
    fixture.click(place);
    assert_eq!(fixture.state.chosen, Some(0));
    assert_eq!(fixture.clock.at_s(), 2.5);
    let why = fixture.timeline.expectations[0].judgement.as_ref();
    let why = why.and_then(|judgement| judgement.missing_text()).unwrap();
    assert!(fixture.find(&why).is_some(), "{why}");
}
