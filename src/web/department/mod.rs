//! The courses of a department in one server: each opened when somebody first asks for a page of it, and put aside when
//! others are asked for more.

mod courses;
mod earlier;
mod one_person;

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::extract::Request;
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::any;
use axum_extra::extract::CookieJar;
use tower::ServiceExt as _;

use super::error::PageError;
use super::state::AppState;
use super::surround::cookie_name;
use super::{around, coordinator, guide, sign_in};
use crate::course::Standing;
use crate::desk::Desk;
use crate::desk::department::Department;
use crate::desk::sessions::{Token, find_session};
use crate::ids::CourseKey;
use crate::language::message;
use crate::store::StoreError;

/// So many courses are held in memory at once, as long as nobody asks for more.
pub const MOST_OPEN: usize = 8;
/// How long a course that is put by may go on answering.
const LONGEST_ANSWER: Duration = Duration::from_secs(20);

/// The courses that are open.
pub struct Courses {
    department: Arc<Department>,
    state: AppState,
    places: Mutex<BTreeMap<CourseKey, Arc<Opening>>>,
    asked: AtomicU64,
    most: usize,
}

/// The place of a course, so that two who ask for it at once open it once.
#[derive(Default)]
struct Opening {
    course: tokio::sync::Mutex<Option<OpenCourse>>,
    /// When it was last asked for, counted in requests.
    asked: AtomicU64,
}

#[derive(Clone)]
struct OpenCourse {
    desk: Arc<Desk>,
    router: Router,
}

/// The pages of a department: `state` is that of its people, `most` how many courses are held in memory.
pub fn router(department: Arc<Department>, state: AppState, most: usize) -> Router {
    let state = AppState {
        department: Some(Arc::clone(&department)),
        ..state
    };
    let courses = Arc::new(Courses {
        department,
        state: state.clone(),
        places: Mutex::default(),
        asked: AtomicU64::new(0),
        most: most.max(1),
    });
    let shared = Router::new()
        .merge(sign_in::shared_routes())
        .merge(coordinator::platform_routes())
        .merge(guide::routes())
        .merge(courses::routes(Arc::clone(&courses)));
    let shared = around(shared, state);
    Router::new().fallback(move |request: Request| {
        let (courses, shared) = (Arc::clone(&courses), shared.clone());
        async move { courses.answer(shared, request).await }
    })
}

impl Courses {
    pub(super) fn department(&self) -> &Department {
        &self.department
    }

    async fn answer(&self, shared: Router, mut request: Request) -> Response {
        let before = self.state.place.before();
        if let Some(path) = without(request.uri(), before) {
            *request.uri_mut() = path;
        }
        let course = request.uri().path().strip_prefix("/c/");
        let key = course.map(|rest| rest.split('/').next().unwrap_or_default());
        if let Some(Ok(key)) = key.map(CourseKey::parse)
            && let Some(path) = without(request.uri(), &format!("/c/{key}"))
        {
            let asks = request.method().is_safe() && !path.path().starts_with("/calendar/");
            let headers = request.headers().clone();
            if asks && !self.may_be_opened_for(&key, headers).await {
                // signed in to first: nobody makes the server read files of courses without being somebody here
                let wanted = request.uri().path_and_query();
                let wanted = wanted.map_or("/", |wanted| wanted.as_str());
                let next: String = form_urlencoded::byte_serialize(wanted.as_bytes()).collect();
                let sign_in = self.state.place.address(&format!("/sign-in?next={next}"));
                return Redirect::to(&sign_in).into_response();
            }
            *request.uri_mut() = path;
            return self.answer_of(&key, shared, request).await;
        }
        answered(shared, request).await
    }

    /// Whether a course is opened, or opened already, for whoever asks: opening one costs, so a page of one that is not in
    /// memory is read for people who are signed in, and for calendars.
    async fn may_be_opened_for(&self, key: &CourseKey, headers: HeaderMap) -> bool {
        let place = self.places().get(key).cloned();
        let is_open = match place {
            Some(place) => place.course.lock().await.is_some(),
            None => false,
        };
        if is_open {
            return true;
        }
        let jar = CookieJar::from_headers(&headers);
        let Some(cookie) = jar.get(cookie_name(&self.state.settings)) else {
            return false;
        };
        let token = Token::from_cookie(cookie.value());
        let found = find_session(&self.state.people, token, self.state.clock.now()).await;
        found.is_ok_and(|session| session.is_some())
    }

    /// A page of a course. Before and after it, whoever is on its lists is taken over.
    async fn answer_of(&self, key: &CourseKey, shared: Router, mut request: Request) -> Response {
        let now = || self.state.clock.now();
        let opened = async {
            let course = self.open(key).await?;
            if let Some(course) = &course {
                self.department.follow(key, &course.desk, now()).await?;
            }
            Ok::<_, StoreError>(course)
        };
        match opened.await {
            Err(why) => self.unanswered(key, request, why).await,
            Ok(None) => {
                // what the courses share has no such page, and says so
                let gone = Uri::from_static("/c/");
                *request.uri_mut() = gone;
                answered(shared, request).await
            }
            Ok(Some(course)) => {
                let is_read = request.method().is_safe();
                let response = answered(course.router, request).await;
                if !is_read && let Err(why) = self.department.follow(key, &course.desk, now()).await
                {
                    // it is done; the lists are followed before the next page
                    tracing::error!(course = %key, error = %why, "the lists of a course could not be taken over");
                }
                response
            }
        }
    }

    /// The page that says why a course cannot answer, with what pages have around them.
    async fn unanswered(&self, key: &CourseKey, request: Request, why: StoreError) -> Response {
        let error = match why.is_away() {
            true => PageError::from(why),
            false => PageError {
                log: Some(format!("the course {key} cannot be opened: {why}")),
                ..PageError::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    message!("error.course-closed-off"),
                )
            },
        };
        let state = AppState {
            place: self.state.place.of_course(key),
            ..self.state.clone()
        };
        let said = move || {
            let error = error.clone();
            async move { error }
        };
        let pages = Router::new().route("/", any(said.clone()));
        answered(around(pages.route("/{*path}", any(said)), state), request).await
    }

    async fn open(&self, key: &CourseKey) -> Result<Option<OpenCourse>, StoreError> {
        let Some(standing) = self.department.standing(key).await? else {
            return Ok(None);
        };
        let asked = self.asked.fetch_add(1, Ordering::Relaxed);
        let place = {
            let mut places = self.places();
            Arc::clone(places.entry(key.clone()).or_default())
        };
        place.asked.store(asked, Ordering::Relaxed);
        let mut held = place.course.lock().await;
        if let Some(course) = &*held {
            // another server may have closed it, or opened it again
            course.desk.set_closed(standing == Standing::Closed);
            return Ok(Some(course.clone()));
        }
        self.make_room(key);
        let Some(desk) = self.department.desk(key).await? else {
            return Ok(None);
        };
        let desk = Arc::new(desk);
        let place = self.state.place.of_course(key);
        let public = self.state.public_address.as_ref();
        let state = AppState {
            desk: Arc::clone(&desk),
            public_address: public.map(|address| format!("{address}/c/{key}").into()),
            place,
            kept: Default::default(),
            live: Default::default(),
            ..self.state.clone()
        };
        let course = OpenCourse {
            desk,
            router: super::router(state),
        };
        *held = Some(course.clone());
        Ok(Some(course))
    }

    /// Puts the course aside that was asked for the longest ago, where there are as many as may be. Whoever it is just
    /// answering is answered; on disk it is whole at any time.
    fn make_room(&self, but: &CourseKey) {
        let mut places = self.places();
        while places.len() > self.most {
            let others = places.iter().filter(|(key, _)| *key != but);
            let oldest = others.min_by_key(|(_, place)| place.asked.load(Ordering::Relaxed));
            let Some(oldest) = oldest.map(|(key, _)| key.clone()) else {
                break;
            };
            places.remove(&oldest);
        }
    }

    /// Puts a course aside, so that it is opened anew when it is next asked for.
    pub(super) fn put_aside(&self, key: &CourseKey) {
        self.places().remove(key);
    }

    /// Puts a course aside and waits until nobody works with it.
    pub(super) async fn let_go(&self, key: &CourseKey) -> Result<(), PageError> {
        let place = self.places().remove(key);
        let Some(place) = place else { return Ok(()) };
        let held = place.course.lock().await.take();
        let Some(OpenCourse { mut desk, router }) = held else {
            return Ok(());
        };
        desk.set_closed(true);
        drop(router);
        let end = tokio::time::Instant::now() + LONGEST_ANSWER;
        loop {
            match Arc::try_unwrap(desk) {
                Ok(desk) => {
                    desk.close().await;
                    return Ok(());
                }
                Err(_) if tokio::time::Instant::now() > end => {
                    return Err(PageError::unprocessable(
                        "Somebody is still at work in this course. Try again in a minute.",
                    ));
                }
                Err(held) => desk = held,
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    fn places(&self) -> std::sync::MutexGuard<'_, BTreeMap<CourseKey, Arc<Opening>>> {
        // what is in it was whole before it was put there
        self.places.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The layer that puts addresses right, for pages of one course below a path.
pub fn below_path(state: &AppState, router: Router) -> Router {
    if state.place.before().is_empty() {
        return router;
    }
    let before: Arc<str> = state.place.before().into();
    Router::new().fallback(move |mut request: Request| {
        let (router, before) = (router.clone(), Arc::clone(&before));
        async move {
            if let Some(path) = without(request.uri(), &before) {
                *request.uri_mut() = path;
            }
            answered(router, request).await
        }
    })
}

async fn answered(router: Router, request: Request) -> Response {
    match router.oneshot(request).await {
        Ok(response) => response,
        Err(never) => match never {},
    }
}

/// An address without what stands before it; none if that does not.
fn without(uri: &Uri, before: &str) -> Option<Uri> {
    if before.is_empty() {
        return None;
    }
    let wanted = uri.path_and_query()?.as_str();
    let rest = wanted.strip_prefix(before)?;
    let rest = match rest.chars().next() {
        None => "/".to_owned(),
        Some('/') => rest.to_owned(),
        Some('?') => format!("/{rest}"),
        Some(_) => return None,
    };
    let mut parts = uri.clone().into_parts();
    parts.path_and_query = Some(rest.parse().ok()?);
    Uri::from_parts(parts).ok()
}
