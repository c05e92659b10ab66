"""Pages of what was measured."""

from django.urls import path

from surveys.views import exports, places, readings, registers, visits

urlpatterns = [
    path("visits/", visits.visit_list, name="visit_list"),
    path("visits/list/", exports.visit_list_export, name="visit_list_export"),
    path("visits/<int:pk>/", visits.visit_detail, name="visit_detail"),
    path("visits/<int:pk>/list/", exports.visit_detail_export, name="visit_detail_export"),
    path("visits/<int:pk>/sheet/", visits.visit_sheet, name="visit_sheet"),
    path("visits/<int:pk>/conditions/", visits.visit_edit, name="visit_edit"),
    path("visits/<int:pk>/readings/", visits.reading_add, name="reading_add"),
    path("visits/<int:pk>/units/", visits.reading_units, name="reading_units"),
    path("visits/<int:pk>/ground-checks/", visits.ground_check_add, name="ground_check_add"),
    path("ground-checks/<int:pk>/", visits.ground_check_correct, name="ground_check_correct"),
    path("visits/<int:pk>/spots/", visits.spot_add, name="spot_add"),
    path("visits/<int:pk>/ground-points/", visits.ground_point_add, name="ground_point_add"),
    path("visits/<int:pk>/seal/", visits.visit_seal, name="visit_seal"),
    path("readings/<int:pk>/", readings.reading_detail, name="reading_detail"),
    path("readings/<int:pk>/correct/", readings.reading_correct, name="reading_correct"),
    path("readings/<int:pk>/set-aside/", readings.reading_set_aside, name="reading_set_aside"),
    path("properties/<int:pk>/places/", places.place_list, name="place_list"),
    path("properties/<int:pk>/places/list/", exports.place_list_export, name="place_list_export"),
    path("rooms/<int:pk>/", places.room_edit, name="room_edit"),
    path("spots/<int:pk>/", places.spot_edit, name="spot_edit"),
    path("instruments/", registers.instrument_list, name="instrument_list"),
    path("instruments/list/", exports.instrument_list_export, name="instrument_list_export"),
    path("instruments/add/", registers.instrument_add, name="instrument_add"),
    path("instruments/<int:pk>/", registers.instrument_detail, name="instrument_detail"),
    path(
        "instruments/<int:pk>/list/",
        exports.instrument_detail_export,
        name="instrument_detail_export",
    ),
    path("instruments/<int:pk>/edit/", registers.instrument_edit, name="instrument_edit"),
    path("instruments/<int:pk>/calibrations/", registers.calibration_add, name="calibration_add"),
    path("calibrations/<int:pk>/", registers.calibration_edit, name="calibration_edit"),
    path("guidelines/", registers.guideline_list, name="guideline_list"),
    path("guidelines/list/", exports.guideline_list_export, name="guideline_list_export"),
    path("guidelines/add/", registers.guideline_add, name="guideline_add"),
    path("guidelines/<str:code>/remove/", registers.guideline_remove, name="guideline_remove"),
    path("placement/", registers.placement, name="placement"),
    path("placement/list/", exports.placement_export, name="placement_export"),
]
