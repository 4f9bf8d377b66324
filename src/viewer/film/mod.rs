//! The same pictures without a display: the scene and the panels are drawn into an image and read
//! back.

mod animate;
mod moments;
mod png_file;
mod sheet;

pub use animate::Animation;
pub use moments::key_instants;
pub use png_file::{decode_png, encode_png};
pub use sheet::{contact_sheet, for_sheet};

use std::collections::BTreeMap;
use std::time::Instant;

use bevy::app::PluginsState;
use bevy::prelude::*;
use bevy::render::RenderPlugin;
use bevy::render::pipelined_rendering::PipelinedRenderingPlugin;
use bevy::render::render_resource::TextureFormat;
use bevy::render::view::screenshot::{Screenshot, ScreenshotCaptured};
use bevy::window::ExitCondition;
use bevy::winit::WinitPlugin;

use crate::app::{Beginning, Quality, core, drawn, engine};
use crate::panel::{Arrangement, PanelState, project};
use crate::scene::{Placed, Shown, arrow, grip_at};
use crate::timeline::{Clock, SignalName, Timeline};
use crate::timing::Timing;
use crate::{Orbit, View, ViewError, screen};

/// Smallest and largest side of a picture, px.
pub const SIDES: [u32; 2] = [160, 3840];

/// Frames that are drawn and thrown away at the start: shaders, fonts, the places of the panels.
const WARM_UP: usize = 4;
/// Frames without an answer after which the renderer is given up.
const FRAMES_WITHOUT_ANSWER_MAX: usize = 240;

/// What is filmed, and how.
pub struct Film {
    /// The timeline, with its trace.
    pub timeline: Timeline,
    /// Signals in the plots; none for the usual ones.
    pub signals: Vec<SignalName>,
    /// The view.
    pub view: View,
    /// Size of a picture, px, each within [`SIDES`].
    pub size: [u32; 2],
    /// The expectation that is looked at.
    pub chosen: Option<usize>,
    /// When the program began.
    pub begun: Instant,
}

/// A picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shot {
    /// Width and height, px.
    pub size: [u32; 2],
    /// Red, green, blue, row by row from the top.
    pub rgb: Vec<u8>,
}

/// Where things are in a picture, px from its upper left corner; for whoever checks it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marks {
    /// The stick's grip.
    pub grip: Option<[f32; 2]>,
    /// The ghost's grip; `None` also if the controller does not report where it is trimmed to.
    pub ghost: Option<[f32; 2]>,
    /// Point of the force arrow; `None` while there is no force.
    pub arrow: Option<[f32; 2]>,
    /// The scene: left, top, right, bottom.
    pub scene: [f32; 4],
}

/// A studio that takes pictures of one timeline.
pub struct Studio {
    app: App,
    image: Handle<Image>,
}

#[derive(Default, Resource)]
struct FrameTaken(BTreeMap<usize, Shot>);

impl Studio {
    /// Opens a studio.
    ///
    /// # Errors
    /// There is no driver, or nothing to show.
    pub fn open(film: Film) -> Result<Self, ViewError> {
        screen::find_driver()?;
        if film.timeline.trace.rows() == 0 {
            return Err(ViewError::Empty);
        }
        let mut app = App::new();
        app.add_plugins(
            engine()
                .disable::<WinitPlugin>()
                // A picture must be of the instant that was asked for, not of the one before.
                .disable::<PipelinedRenderingPlugin>()
                .set(RenderPlugin {
                    synchronous_pipeline_compilation: true,
                    ..default()
                })
                .set(WindowPlugin {
                    primary_window: None,
                    exit_condition: ExitCondition::DontExit,
                    ..default()
                }),
        );
        let [width, height] = film.size;
        let image = Image::new_target_texture(width, height, TextureFormat::Rgba8UnormSrgb, None);
        let image = app.world_mut().resource_mut::<Assets<Image>>().add(image);
        core(
            &mut app,
            Beginning {
                timeline: film.timeline,
                signals: film.signals,
                view: film.view,
                speed: 1.0,
                arrangement: Arrangement::Picture,
                source: None,
                begun: film.begun,
            },
        );
        drawn(&mut app, Some(image.clone()), Quality::Full);
        app.init_resource::<FrameTaken>();
        while app.plugins_state() == PluginsState::Adding {
            bevy::tasks::tick_global_task_pools_on_main_thread();
        }
        app.finish();
        app.cleanup();
        if let Some(index) = film.chosen {
            app.world_mut()
                .resource_scope(|world, mut panel_state: Mut<PanelState>| {
                    panel_state.choose(index, world.resource::<Timeline>());
                });
        }
        let mut studio = Self { app, image };
        for _ in 0..WARM_UP {
            studio.app.update();
        }
        Ok(studio)
    }

    /// Takes a picture of each instant, in their order; `take` gets each as it comes and ends it
    /// with `false`.
    ///
    /// # Errors
    /// The renderer gives no picture.
    pub fn take(
        &mut self,
        instants_s: &[f64],
        take: &mut dyn FnMut(usize, Shot) -> bool,
    ) -> Result<(), ViewError> {
        let (mut asked, mut given, mut waited) = (0, 0, 0);
        while given < instants_s.len() {
            if let Some(at_s) = instants_s.get(asked) {
                self.app.world_mut().resource_mut::<Clock>().jump(*at_s);
                self.ask(asked);
                asked += 1;
            }
            self.app.update();
            let shot = self
                .app
                .world_mut()
                .resource_mut::<FrameTaken>()
                .0
                .remove(&given);
            waited += 1;
            if let Some(shot) = shot {
                if !take(given, shot) {
                    return Ok(());
                }
                given += 1;
                waited = 0;
            }
            if waited > FRAMES_WITHOUT_ANSWER_MAX {
                return Err(ViewError::NoPicture {
                    at_s: format!("{:.3}", instants_s[given]),
                });
            }
        }
        Ok(())
    }

    /// Where things are in the picture that was asked for last.
    pub fn marks(&self) -> Marks {
        let world = self.app.world();
        let (layout, orbit) = (&world.resource::<Placed>().0, world.resource::<Orbit>());
        let scene = world.resource::<PanelState>().scene;
        let seen = |point: Vec3| project(orbit, scene, point).map(|place| [place.x, place.y]);
        let instant = world.resource::<Shown>().0.clone().unwrap_or_default();
        let at = |angles_deg: [f64; 2]| seen(grip_at(layout, angles_deg));
        Marks {
            grip: at(instant.stick_deg()),
            ghost: instant.reference_deg().and_then(at),
            arrow: arrow(&instant, layout).and_then(|arrow| seen(arrow.tip())),
            scene: [scene.left(), scene.top(), scene.right(), scene.bottom()],
        }
    }

    /// What it cost so far.
    pub fn timing(&self) -> Timing {
        self.app.world().resource::<Timing>().clone()
    }

    fn ask(&mut self, index: usize) {
        let screenshot = Screenshot::image(self.image.clone());
        self.app.world_mut().spawn(screenshot).observe(
            move |captured: On<ScreenshotCaptured>, mut taken: ResMut<FrameTaken>| {
                taken.0.insert(index, shot_of(&captured.image));
            },
        );
    }
}

/// The picture without its alpha channel.
fn shot_of(image: &Image) -> Shot {
    let size = [image.width(), image.height()];
    let rgba = image.data.as_deref().unwrap_or_default();
    let rgb = rgba
        .chunks_exact(4)
        .flat_map(|pixel| [pixel[0], pixel[1], pixel[2]]);
    Shot {
        size,
        rgb: rgb.collect(),
    }
}

/// Instants of an animation, s: so many a second of simulated time, from the start as far as they
/// go.
pub fn frames_of(length_s: f64, frames_per_s: f64) -> Vec<f64> {
    let count = (length_s * frames_per_s + 1e-9).floor().max(0.0) as usize;
    (0..=count)
        .map(|frame| frame as f64 / frames_per_s)
        .collect()
}

#[cfg(test)]
mod tests;
