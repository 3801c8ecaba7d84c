from django.urls import URLPattern, path

from clinics.views import clinics_new, people, tasks

PEOPLE = "clinics/<uuid:pk>/plan/people/"
TASKS = "clinics/<uuid:pk>/plan/tasks/"

urlpatterns: list[URLPattern] = [
    path("clinics/new/", clinics_new.clinic_new, name="clinic-new"),
    path("clinics/new/plan/", clinics_new.clinic_new_plan, name="clinic-new-plan"),
    path("clinics/<uuid:pk>/plan/facts/", clinics_new.clinic_facts, name="clinic-facts"),
    path(PEOPLE, people.people, name="people"),
    path(f"{PEOPLE}put/", people.people_put, name="people-put"),
    path(f"{PEOPLE}take-off/", people.people_take_off, name="people-take-off"),
    path(f"{PEOPLE}invite/", people.people_invite, name="people-invite"),
    path(f"{PEOPLE}until/", people.people_until, name="people-until"),
    path(f"{PEOPLE}dives/", people.people_dives, name="people-dives"),
    path(TASKS, tasks.tasks, name="tasks"),
    path(f"{TASKS}<slug:key>/tick/", tasks.task_tick, name="task-tick"),
    path(f"{TASKS}<slug:key>/move/", tasks.task_move, name="task-move"),
    path(f"{TASKS}<slug:key>/remove/", tasks.task_remove, name="task-remove"),
]
