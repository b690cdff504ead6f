from django.urls import path

from interfaces.views import web_hooks as views

urlpatterns = [
    path("web-hooks/", views.hook_list, name="hook_list"),
    path("web-hooks/new/", views.hook_new, name="hook_new"),
    path("web-hooks/<int:hook_id>/stop/", views.hook_stop, name="hook_stop"),
    path("web-hooks/deliveries/", views.hook_deliveries, name="hook_deliveries"),
    path(
        "web-hooks/deliveries/<int:delivery_id>/send-again/",
        views.hook_delivery_send_again,
        name="hook_delivery_send_again",
    ),
]
