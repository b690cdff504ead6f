from django.urls import path

from people.views import own_sign_in

urlpatterns = [path("account/sign-ins/", own_sign_in.own_sign_in, name="own_sign_in")]
