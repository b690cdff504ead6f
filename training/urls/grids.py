from django.urls import path

from training.views import grids

urlpatterns = [
    path("vision-tests/", grids.vision_grid, name="vision_grid"),
    path("practice/", grids.work_grid, name="work_grid"),
    path("calibrations/", grids.calibration_grid, name="calibration_grid"),
]
