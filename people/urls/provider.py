from django.urls import path

from people.views import provider

urlpatterns = [
    path("account/provider/", provider.begin, name="provider_begin"),
    path("account/provider/back/", provider.back, name="provider_back"),
    path("account/provider/proof/", provider.begin_proof, name="provider_proof"),
    path("account/provider/link/", provider.link, name="provider_link"),
    path("account/provider/unlink/", provider.unlink, name="provider_unlink"),
]
