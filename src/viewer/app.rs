//! The app: resources and systems, the same with a window, without one, and without a renderer.

use std::time::Instant as WallInstant;

use bevy::app::{PanicHandlerPlugin, PluginGroupBuilder, TerminalCtrlCHandlerPlugin};
use bevy::asset::AssetEventSystems;
use bevy::camera::visibility::RenderLayers;
use bevy::camera::{CameraOutputMode, RenderTarget, Viewport};
use bevy::core_pipeline::tonemapping::Tonemapping;
use bevy::log::LogPlugin;
use bevy::prelude::*;
use bevy::render::render_resource::BlendState;
use bevy_egui::{
    EguiContext, EguiContexts, EguiGlobalSettings, EguiPlugin, EguiPostUpdateSet,
    EguiPrimaryContextPass, PrimaryEguiContext,
};

use crate::camera::{FIELD_RAD, Orbit, View, field_rad};
use crate::look;
use crate::panel::{self, Arrangement, PanelState, Panels};
use crate::scene::{Layout, Move, Placed, ScenePlugin, Shown, grip_at};
use crate::source::SourceThread;
use crate::timeline::{Clock, SignalName, SourceState, Timeline};
use crate::timing::Timing;

/// What every app of ours has of bevy's: its log, its panic hook and its Ctrl-C are the command
/// line's.
pub fn engine() -> PluginGroupBuilder {
    DefaultPlugins
        .build()
        .disable::<LogPlugin>()
        .disable::<PanicHandlerPlugin>()
        .disable::<TerminalCtrlCHandlerPlugin>()
}

/// What an app begins with.
pub struct Beginning {
    /// The timeline.
    pub timeline: Timeline,
    /// Signals in the plots; none for the usual ones.
    pub signals: Vec<SignalName>,
    /// The view.
    pub view: View,
    /// Times real time.
    pub speed: f64,
    /// Window or picture.
    pub arrangement: Arrangement,
    /// The thread that the trace comes from.
    pub source: Option<SourceThread>,
    /// When the program began.
    pub begun: WallInstant,
}

/// Adds resources and systems that need neither window nor renderer.
pub fn core(app: &mut App, beginning: Beginning) {
    let layout = Layout::of(&beginning.timeline.rig);
    let orbit = Orbit::of(beginning.view, &layout, &beginning.timeline.travel);
    let mut clock = Clock::new(beginning.speed, beginning.timeline.tick_s());
    clock.see(beginning.timeline.head_s(), beginning.source.is_some());
    if let Some(source) = beginning.source {
        app.insert_resource(source);
    }
    app.insert_resource(beginning.timeline)
        .insert_resource(clock)
        .insert_resource(PanelState::new(
            beginning.signals,
            beginning.view,
            beginning.arrangement,
        ))
        .insert_resource(orbit)
        .insert_resource(Placed(layout))
        .insert_resource(Timing::since(beginning.begun))
        .add_plugins(ScenePlugin)
        .add_systems(
            Update,
            (begin, take_news, go_on, choose_instant)
                .chain()
                .before(Move),
        )
        .add_systems(Update, (place_camera, end).chain().after(Move))
        .add_systems(Last, end_frame);
}

/// How much of a flight the plots show, s.
const FLOWN_S: f64 = 20.0;

/// How well the scene is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Resource)]
pub enum Quality {
    /// Shadows and smooth edges.
    Full,
    /// Neither: for a processor that draws by itself.
    Plain,
}

/// Adds the panels and the cameras; `target` is the picture that is drawn into, the window if there
/// is none.
pub fn drawn(app: &mut App, target: Option<Handle<Image>>, quality: Quality) {
    app.add_plugins(EguiPlugin::default())
        .insert_resource(ClearColor(look::BACKGROUND))
        .insert_resource(Target(target))
        .insert_resource(quality)
        .add_systems(Startup, raise_cameras)
        .add_systems(PostStartup, spare_shadows)
        .add_systems(Update, decorate)
        .add_systems(EguiPrimaryContextPass, draw_panels)
        // A letter that is new must be in the picture that needs it, not in the next.
        .configure_sets(
            PostUpdate,
            EguiPostUpdateSet::PostProcessOutput.before(AssetEventSystems),
        );
    if let Some(mut settings) = app.world_mut().get_resource_mut::<EguiGlobalSettings>() {
        // The panels have a camera of their own.
        settings.auto_create_primary_context = false;
    }
}

#[derive(Resource)]
struct Target(Option<Handle<Image>>);

/// The camera that sees the scene.
#[derive(Component)]
pub struct SceneCamera;

/// When our systems of this frame began.
#[derive(Resource)]
struct AppBegun(WallInstant);

/// Logical px to physical ones.
#[derive(Resource, Default)]
struct UiScale(f32);

fn begin(mut commands: Commands) {
    commands.insert_resource(AppBegun(WallInstant::now()));
}

fn take_news(
    source: Option<ResMut<SourceThread>>,
    mut timeline: ResMut<Timeline>,
    mut clock: ResMut<Clock>,
    mut panel_state: ResMut<PanelState>,
    layout: Res<Placed>,
    mut orbit: ResMut<Orbit>,
) {
    let Some(mut source) = source else { return };
    let was_flown = source.is_flown();
    let was_rest = Orbit::of(View::Across, &layout.0, &timeline.travel);
    if source.drain(&mut timeline) || was_flown {
        // What moves is known by and by. A camera that the user has turned stays where it is.
        if panel_state.view == View::Across && *orbit == was_rest {
            orbit.set_if_neq(Orbit::of(View::Across, &layout.0, &timeline.travel));
        }
        let open = matches!(
            timeline.source_state,
            SourceState::Reading | SourceState::Running
        );
        clock.see(timeline.head_s(), open);
        if was_flown {
            // A flight is seen as it is flown, with the last of what was.
            let head_s = timeline.head_s();
            clock.jump(head_s);
            panel_state.range_s = (head_s > FLOWN_S).then_some([head_s - FLOWN_S, head_s]);
            if !source.is_flown() {
                clock.pause();
                panel_state.range_s = None;
            }
        }
    }
}

fn go_on(
    time: Option<Res<Time>>,
    mut clock: ResMut<Clock>,
    mut panel_state: ResMut<PanelState>,
    timeline: Res<Timeline>,
) {
    let before_s = clock.at_s();
    if let Some(time) = time
        && panel_state.arrangement == Arrangement::Window
    {
        clock.advance(time.delta_secs_f64());
    }
    if clock.at_s() != before_s && clock.is_playing() {
        let at_s = clock.at_s();
        panel_state.follow(&timeline, at_s);
    }
}

fn choose_instant(
    timeline: Res<Timeline>,
    clock: Res<Clock>,
    layout: Res<Placed>,
    panel_state: Res<PanelState>,
    mut shown: ResMut<Shown>,
    mut orbit: ResMut<Orbit>,
) {
    shown.set_if_neq(Shown(timeline.instant(clock.at_s())));
    // The view of the grip goes with the grip.
    let follows = match (&shown.0, panel_state.view) {
        (Some(instant), View::Grip) => {
            grip_at(&layout.0, instant.stick_deg()) - grip_at(&layout.0, [0.0; 2])
        }
        _ => Vec3::ZERO,
    };
    if orbit.follows != follows {
        orbit.follows = follows;
    }
}

fn place_camera(
    orbit: Res<Orbit>,
    panel_state: Res<PanelState>,
    scale: Option<Res<UiScale>>,
    mut cameras: Query<(&mut Camera, &mut Transform, &mut Projection), With<SceneCamera>>,
) {
    let scale = scale.map_or(1.0, |scale| scale.0);
    for (mut camera, mut transform, mut projection) in &mut cameras {
        transform.set_if_neq(orbit.transform());
        let Some(whole) = camera.physical_target_size() else {
            continue;
        };
        let from = (panel_state.scene.min.to_vec2() * scale).round();
        let size = (panel_state.scene.size() * scale).round();
        let from = UVec2::new(from.x.max(0.0) as u32, from.y.max(0.0) as u32).min(whole);
        let size = UVec2::new(size.x.max(0.0) as u32, size.y.max(0.0) as u32).min(whole - from);
        if size.min_element() < 16 {
            continue;
        }
        let changed = camera.viewport.as_ref().is_none_or(|viewport| {
            viewport.physical_position != from || viewport.physical_size != size
        });
        let field = field_rad(size.x as f32 / size.y as f32);
        let is_other = matches!(&*projection, Projection::Perspective(seen) if seen.fov != field);
        if is_other && let Projection::Perspective(seen) = &mut *projection {
            seen.fov = field;
        }
        if changed {
            camera.viewport = Some(Viewport {
                physical_position: from,
                physical_size: size,
                ..default()
            });
        }
    }
}

fn end(begun: Option<Res<AppBegun>>, mut timing: ResMut<Timing>) {
    if let Some(begun) = begun {
        timing.spend(begun.0);
    }
}

fn end_frame(mut timing: ResMut<Timing>, shown: Res<Shown>) {
    timing.end_frame(shown.0.is_some());
}

fn raise_cameras(
    mut commands: Commands,
    target: Res<Target>,
    orbit: Res<Orbit>,
    quality: Res<Quality>,
) {
    commands.insert_resource(UiScale(1.0));
    let target = match &target.0 {
        Some(image) => RenderTarget::Image(image.clone().into()),
        None => RenderTarget::default(),
    };
    commands.spawn((
        SceneCamera,
        Camera3d::default(),
        target.clone(),
        Projection::from(PerspectiveProjection {
            fov: FIELD_RAD,
            near: 0.01,
            far: 60.0,
            ..default()
        }),
        Tonemapping::None,
        match *quality {
            Quality::Full => Msaa::Sample4,
            Quality::Plain => Msaa::Off,
        },
        orbit.transform(),
    ));
    commands.spawn((
        PrimaryEguiContext,
        Camera2d,
        target,
        // Nothing of the scene, only the panels.
        RenderLayers::none(),
        Camera {
            order: 1,
            output_mode: CameraOutputMode::Write {
                // What egui draws has its alpha in its colours already.
                blend_state: Some(BlendState::PREMULTIPLIED_ALPHA_BLENDING),
                clear_color: ClearColorConfig::None,
            },
            clear_color: ClearColorConfig::Custom(Color::NONE),
            ..default()
        },
        Msaa::Off,
    ));
}

fn spare_shadows(quality: Res<Quality>, mut lights: Query<&mut DirectionalLight>) {
    if *quality == Quality::Plain {
        for mut light in &mut lights {
            light.shadow_maps_enabled = false;
        }
    }
}

/// What the panels need.
#[derive(bevy::ecs::system::SystemParam)]
struct PanelParts<'w> {
    timeline: ResMut<'w, Timeline>,
    clock: ResMut<'w, Clock>,
    panel_state: ResMut<'w, PanelState>,
    orbit: ResMut<'w, Orbit>,
    layout: Res<'w, Placed>,
    shown: Res<'w, Shown>,
    source: Option<ResMut<'w, SourceThread>>,
    timing: ResMut<'w, Timing>,
    scale: ResMut<'w, UiScale>,
}

/// A context needs its font before its first frame.
fn decorate(mut contexts: Query<&mut EguiContext, Added<EguiContext>>) {
    for mut context in &mut contexts {
        look::decorate(context.get_mut());
    }
}

fn draw_panels(mut contexts: EguiContexts, mut parts: PanelParts<'_>) -> Result {
    let began = WallInstant::now();
    let context = contexts.ctx_mut()?;
    parts.scale.0 = context.pixels_per_point();
    let mut panels = Panels {
        timeline: &mut parts.timeline,
        clock: &mut parts.clock,
        state: &mut parts.panel_state,
        orbit: &mut parts.orbit,
        layout: &parts.layout.0,
        instant: parts.shown.0.as_ref(),
        source: parts.source.as_deref_mut(),
    };
    panel::show(context, &mut panels);
    parts.timing.spend(began);
    Ok(())
}
