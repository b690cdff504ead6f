from django.urls import path

from people.views import sites

urlpatterns = [
    path("sites/", sites.site_list, name="site_list"),
    path("sites/new/", sites.site_new, name="site_new"),
    path("sites/<str:prefix>/", sites.site_edit, name="site_edit"),
    path("sites/<str:prefix>/sign-in/", sites.site_sign_in, name="site_sign_in"),
]
